"""Which fields the register has of each kind of thing, said once: forms, lists, checks and pages follow from here. Pure.

A field that is added to `REGISTER` (and to docs/entries.md, and with its words to the catalogue `programme`) appears
everywhere. What stands in an entry without being named here stays there untouched when somebody mends the thing.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cache
from typing import Any, Literal
from zoneinfo import available_timezones

from fieldkit.errors import Fault
from fieldkit.ledger import is_id
from fieldkit.protocol.number import number, written
from fieldkit.register.names import folded

ValueKind = Literal["text", "note", "number", "day", "choice", "thing", "limits", "zone"]

MAX_TEXT = 200
MAX_NOTE = 2000
MAX_LIMITS = 100
"""Lengths, and species of a permit. An entry holds 16 KiB, and JSON may write one byte as six. Chosen by us."""

_CONTROL = re.compile(r"[\x00-\x09\x0b-\x1f\x7f\u202a-\u202e\u2066-\u2069]")
_DAY = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_LIMIT = re.compile(r"(.+?)[\s:=,;]+(\d{1,9})", re.ASCII)
_KEY = re.compile(r"[a-z][a-z0-9_]{0,63}")


@dataclass(frozen=True, slots=True)
class RegisterField:
    """One thing that the register knows of a site, a plot …

    Attributes:
        kind: `text`; `note` (several lines); `number` (a string as typed, in `unit`, from `least` to `most`, with no decimals
            where `is_whole`); `day` (ISO 8601); `choice` (one of `values`); `thing` (the id of a registered thing of kind
            `of`); `limits` (species to number); `zone` (a name of the IANA time zone database).
        is_listed: whether the list of all things of the kind shows it.
    """

    name: str
    kind: ValueKind = "text"
    is_required: bool = False
    is_listed: bool = False
    values: tuple[str, ...] = ()
    of: str = ""
    unit: str = ""
    least: str | None = None
    most: str | None = None
    is_whole: bool = False


@dataclass(frozen=True, slots=True)
class ThingKind:
    """A kind of registered thing; people call one by the first of `named_by` that is known of it."""

    kind: str
    named_by: tuple[str, ...]
    fields: tuple[RegisterField, ...]
    within: str = ""
    """The field that names the thing in which names must differ: two sites may each have a plot A."""

    def field(self, name: str) -> RegisterField | None:
        return next((field for field in self.fields if field.name == name), None)

    def called(self, values: Mapping[str, Any]) -> str:
        """What people call it; empty where nobody has said."""
        return next((str(values[name]) for name in self.named_by if values.get(name)), "")


def _depth() -> RegisterField:
    # Nobody dives deeper with a slate, and a depth is never above the surface: common practice, no source.
    return RegisterField("depth_m", "number", is_listed=True, unit="m", least="0", most="100")


_NOTE = RegisterField("note", "note")

_KINDS = (
    ThingKind(
        "site",
        ("name", "code"),
        (
            RegisterField("name", is_required=True, is_listed=True),
            RegisterField("code", is_listed=True),
            # WGS 84 in decimal degrees, as every position in fieldkit.
            RegisterField("latitude", "number", unit="°", least="-90", most="90"),
            RegisterField("longitude", "number", unit="°", least="-180", most="180"),
            RegisterField("uncertainty_m", "number", unit="m", least="0", most="100000"),
            RegisterField("position_from"),
            RegisterField("time_zone", "zone"),
            _depth(),
            RegisterField("habitat", is_listed=True),
            RegisterField("permit", "thing", of="permit", is_listed=True),
            _NOTE,
        ),
    ),
    ThingKind(
        "plot",
        ("name",),
        (
            RegisterField("site", "thing", of="site", is_required=True, is_listed=True),
            RegisterField("name", is_required=True, is_listed=True),
            RegisterField("recorded_as", "choice", is_required=True, is_listed=True, values=("tagged", "counted")),
            RegisterField("followed", "choice", is_listed=True, values=("yes", "no")),
            RegisterField("shape", is_listed=True),
            RegisterField("area_m2", "number", unit="m²", least="0.01", most="100000"),
            _depth(),
            RegisterField("substrate"),
            RegisterField("marker"),
            RegisterField("landmark"),
            RegisterField("bearing_deg", "number", unit="°", least="0", most="360"),
            RegisterField("distance_m", "number", unit="m", least="0", most="10000"),
            _NOTE,
        ),
        within="site",
    ),
    ThingKind(
        "genotype",
        ("accession",),
        (
            RegisterField("accession", is_required=True, is_listed=True),
            RegisterField("species", is_listed=True),
            RegisterField("species_id"),
            RegisterField("provenance", is_listed=True),
            RegisterField("known_by", "choice", is_listed=True, values=("tested", "assumed")),
            RegisterField("genet"),
            _NOTE,
        ),
    ),
    ThingKind(
        "lot",
        ("structure",),
        (
            RegisterField("genotype", "thing", of="genotype", is_required=True, is_listed=True),
            RegisterField("structure", is_required=True, is_listed=True),
            RegisterField("count", "number", is_required=True, is_listed=True, least="0", most="1000000", is_whole=True),
            RegisterField("ready", "number", is_listed=True, least="0", most="1000000", is_whole=True),
            RegisterField("day", "day", is_required=True, is_listed=True),
        ),
        within="genotype",
    ),
    ThingKind(
        "permit",
        ("number",),
        (
            RegisterField("number", is_required=True, is_listed=True),
            RegisterField("holder", is_listed=True),
            RegisterField("from", "day", is_listed=True),
            RegisterField("until", "day", is_listed=True),
            RegisterField("covers", "note"),
            RegisterField("limits", "limits"),
        ),
    ),
    ThingKind(
        "person",
        ("initials", "name"),
        (
            RegisterField("initials", is_listed=True),
            RegisterField("name", is_listed=True),
            RegisterField("consent", "choice", is_listed=True, values=("yes", "no")),
        ),
    ),
)

REGISTER: Mapping[str, ThingKind] = {one.kind: one for one in _KINDS}
"""The kinds that people enter and mend, in the order in which a programme needs them."""


@dataclass(frozen=True, slots=True)
class Filled:
    """A form as somebody filled it in: the values that an entry would say, and what is wrong, by field."""

    values: Mapping[str, Any]
    faults: Mapping[str, Fault]


def read_form(
    kind: ThingKind, given: Mapping[str, str], known: Mapping[str, Collection[str]], kept: Mapping[str, Any] | None = None
) -> Filled:
    """What a filled form says of a thing. A field that was left empty is said nothing of.

    Args:
        given: field to what was typed or picked.
        known: of each kind of thing that fields name, the ids that there are.
        kept: what the register says already: of what was not touched an odd value stays as it is.
    """
    values: dict[str, Any] = {}
    faults: dict[str, Fault] = {}
    for field in kind.fields:
        typed = cleaned(given.get(field.name, ""))
        if kept and typed and typed == shown_in_form(field, kept.get(field.name)):
            values[field.name] = kept[field.name]
            continue
        read = _READ[field.kind](field, typed, known) if typed else None
        if isinstance(read, Fault):
            faults[field.name] = read
        elif read is not None:
            values[field.name] = read
        elif field.is_required:
            faults[field.name] = Fault("programme.needed")
    for name, fault in _beside_each_other(kind, values):
        faults.setdefault(name, fault)
    return Filled(values, faults)


def shown_in_form(field: RegisterField, value: Any) -> str:
    """A value as it stands in a form to be changed."""
    if value is None:
        return ""
    if field.kind == "limits" and isinstance(value, Mapping):
        return "\n".join(f"{species_named(key)} {most}" for key, most in value.items())
    return str(value)


def name_taken(kind: ThingKind, values: Mapping[str, Any], id_: str, others: Mapping[str, Mapping[str, Any]]) -> str | None:
    """The id of another thing of the kind that goes by the name that these values give; two of one name are a matter."""
    name = folded(kind.called(values))
    return next(
        (
            other
            for other, said in others.items()
            if name
            and other != id_
            and folded(kind.called(said)) == name
            and (not kind.within or said.get(kind.within) == values.get(kind.within))
        ),
        None,
    )


def cleaned(typed: str) -> str:
    """What was typed as it is kept: NFC, no blanks at its ends, no signs that cannot be seen."""
    return _CONTROL.sub("", unicodedata.normalize("NFC", typed).replace("\r\n", "\n").replace("\t", " ")).strip()


def species_key(species: str) -> str:
    """What a permit's limits call a species: "Acropora muricata" is `acropora_muricata`."""
    return "_".join(re.findall(r"[a-z0-9]+", unicodedata.normalize("NFKD", species).casefold()))


def species_named(key: str) -> str:
    return key.replace("_", " ").capitalize()


def read_day(typed: str) -> str | None:
    """A civil day, ISO 8601; None where it is none."""
    try:
        return date.fromisoformat(typed).isoformat() if _DAY.fullmatch(typed) else None
    except ValueError:
        return None


_Known = Mapping[str, Collection[str]]


def _text(field: RegisterField, typed: str, known: _Known) -> str | Fault:  # noqa: ARG001 - one form for all
    most = MAX_NOTE if field.kind == "note" else MAX_TEXT
    if len(typed) > most:
        return Fault("programme.too_long", {"most": most})
    return typed if field.kind == "note" else " ".join(typed.split())


def _number(field: RegisterField, typed: str, known: _Known) -> str | Fault:  # noqa: ARG001
    plain = written(typed)
    value = number(plain)
    if plain is None or value is None or (field.is_whole and value != value.to_integral_value()):
        return Fault("programme.no_whole_number" if field.is_whole else "programme.no_number", {"value": typed[:60]})
    least, most = Decimal(field.least or "-Infinity"), Decimal(field.most or "Infinity")
    if not least <= value <= most:
        return Fault("programme.out_of_range", {"value": typed[:60], "least": str(least), "most": str(most)})
    return plain


def _day(field: RegisterField, typed: str, known: _Known) -> str | Fault:  # noqa: ARG001
    return read_day(typed) or Fault("programme.no_day", {"value": typed[:60]})


def _choice(field: RegisterField, typed: str, known: _Known) -> str | Fault:  # noqa: ARG001
    return typed if typed in field.values else Fault("programme.not_one_of", {"value": typed[:60]})


def _thing(field: RegisterField, typed: str, known: _Known) -> str | Fault:
    is_there = is_id(typed) and typed in known.get(field.of, ())
    return typed if is_there else Fault("programme.not_one_of", {"value": typed[:60]})


def _zone(field: RegisterField, typed: str, known: _Known) -> str | Fault:  # noqa: ARG001
    zones = _zones()
    # A system without the database (some Windows) knows none; then any name will do.
    return typed if not zones or typed in zones else Fault("programme.no_zone", {"value": typed[:60]})


@cache
def _zones() -> frozenset[str]:
    return frozenset(available_timezones())


def _limits(field: RegisterField, typed: str, known: _Known) -> dict[str, str] | Fault:  # noqa: ARG001
    found: dict[str, str] = {}
    for line in filter(None, map(str.strip, typed.split("\n"))):
        parts = _LIMIT.fullmatch(line)
        key = species_key(parts[1]) if parts else ""
        if not parts or not _KEY.fullmatch(key):
            return Fault("programme.no_limit", {"value": line[:60]})
        if key in found:
            return Fault("programme.limit_twice", {"value": species_named(key)})
        found[key] = str(int(parts[2]))
    return found if len(found) <= MAX_LIMITS else Fault("programme.too_many_limits", {"most": MAX_LIMITS})


_READ = {
    "text": _text,
    "note": _text,
    "number": _number,
    "day": _day,
    "choice": _choice,
    "thing": _thing,
    "zone": _zone,
    "limits": _limits,
}


def _beside_each_other(kind: ThingKind, values: Mapping[str, Any]) -> list[tuple[str, Fault]]:
    """What each value may be, but not beside the others."""
    numbers = {name: number(values.get(name)) for name in ("latitude", "longitude", "count", "ready")}
    latitude, longitude, count, ready = numbers.values()
    faults = []
    if (latitude is None) != (longitude is None):
        faults.append(("longitude" if longitude is None else "latitude", Fault("programme.half_a_position")))
    if latitude == 0 and longitude == 0:  # what a device writes that has no fix
        faults.append(("latitude", Fault("programme.null_island")))
    if values.get("from") and values.get("until") and values["until"] < values["from"]:
        faults.append(("until", Fault("programme.ends_before")))
    if count is not None and ready is not None and ready > count:
        faults.append(("ready", Fault("programme.more_ready")))
    if kind.kind == "person" and not kind.called(values):
        faults.append(("initials", Fault("programme.needed")))
    return faults
