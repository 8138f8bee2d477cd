"""What each layout of a table needs, and what its columns may hold. Pure."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from collections.abc import Mapping as Map

from fieldkit.errors import Fault
from fieldkit.protocol import Field, Protocol
from fieldkit.protocol.spelling import nearest
from fieldkit.register.sheets.errors import SheetError
from fieldkit.register.sheets.mapping import COUNTED, NOT_MEASURED, ROLES, WHERE, Mapping

_CORAL = (*WHERE, "planted_on", "known_from", "withdrawn_on")
_SIGHTING = ("seen_on", "age_days", "round", "recorder", "status", "size_cm", "live_tissue", "cause", "note")
_MEANT: Map[str, tuple[str, ...]] = {
    "long": (*_CORAL, *_SIGHTING),
    "one_row_per_coral": (*_CORAL, *_SIGHTING, "last_alive"),
    "wide": (*_CORAL, "recorder"),
    "counts": ("site", "plot", "genotype", "species", "planted_on", "seen_on", "round", "recorder", "note", *COUNTED),
}
"""What a column may hold in each layout. The protocol's fields join it, in `wide` for each visit."""

_NEEDED: Map[str, tuple[tuple[str, ...], ...]] = {
    "long": (("site",), ("tag", "position"), ("seen_on",), ("status",)),
    "one_row_per_coral": (("site",), ("tag", "position")),
    "wide": (("site",), ("tag", "position")),
    "counts": (("site",), ("genotype",), ("planted_on",), ("seen_on",), ("planted",), ("alive", "dead", "missing")),
}
"""Of each group, one must be there, as a column or a constant."""


def told_layout(names: Collection[str], file: str) -> str:
    """The layout, where the names of the columns leave one only.

    A long sheet with each coral in one row reads the same either way.
    """
    is_counted = not {*COUNTED}.isdisjoint(names)
    is_seen = "status" in names
    if is_counted and not is_seen and {"tag", "position"}.isdisjoint(names):
        return "counts"
    if not is_counted and ("last_alive" in names or not (is_seen or "seen_on" in names)):
        return "one_row_per_coral"
    if not is_counted and is_seen and "seen_on" in names:
        return "long"
    raise SheetError.of("sheets.which_layout", file=file, names=", ".join(sorted(names)))


def unfit(mapping: Mapping, protocol: Protocol, file: str) -> Iterable[Fault]:
    """Where a mapping, completed and in our names, does not fit its layout or the protocol."""
    layout = mapping.layout or ""
    place = {"file": file, "layout": layout}
    fields = _fields(protocol, layout)
    top = {*mapping.columns, *mapping.constants}
    named = top.union(*(visit.columns for visit in mapping.visits))
    if (layout == "wide") != bool(mapping.visits):
        yield Fault("sheets.wide_needs_visits", place)
    for name in _without_use(mapping, top, fields):
        yield Fault("sheets.name_without_use", {**place, "name": name})
    for name in _lacking(mapping, named):
        yield Fault("sheets.name_needed", {**place, "name": name})
    for name in sorted(named & ROLES.keys()) if layout != "counts" else ():
        if protocol.with_role(ROLES[name]) is None:
            yield Fault("sheets.no_field_for_role", {**place, "name": name, "protocol": protocol.name})
    for name in sorted(named & fields.keys()):
        if fields[name].kind == "tally":
            yield Fault("sheets.tally_in_column", {**place, "name": name})
    yield from _unfit_words(mapping, protocol, named, file)


def _fields(protocol: Protocol, layout: str) -> dict[str, Field]:
    """The protocol's fields that columns name by its own names."""
    fields = protocol.fields_of("count" if layout == "counts" else "coral")
    return {field.name: field for field in fields if field.role not in ROLES.values()}


def _without_use(mapping: Mapping, top: Collection[str], fields: Map[str, Field]) -> list[str]:
    allowed = {*_MEANT[mapping.layout or ""], *(() if mapping.layout == "wide" else fields)}
    seen = {name for visit in mapping.visits for name in visit.columns}
    return sorted(({*top} - allowed) | (seen - {*_SIGHTING, *fields}))


def _lacking(mapping: Mapping, named: Collection[str]) -> list[str]:
    lacking = [" / ".join(group) for group in _NEEDED[mapping.layout or ""] if not set(group) & set(named)]
    if mapping.layout == "one_row_per_coral" and "status" in named and "seen_on" not in named:
        lacking.append("seen_on")
    if any("status" not in visit.columns for visit in mapping.visits):
        lacking.append("status")
    return lacking


def _unfit_words(mapping: Mapping, protocol: Protocol, named: Collection[str], file: str) -> Iterable[Fault]:
    """Explained words of columns that are not taken or hold no list, and values that their list lacks."""
    for name, meanings in mapping.words.items():
        field = protocol.with_role(ROLES[name]) if name in ROLES else protocol.field(name)
        is_number = field is not None and field.kind in ("number", "percent")
        if name in named and is_number and set(meanings) == {NOT_MEASURED}:
            continue
        if name not in named or field is None or not field.values:
            yield Fault("sheets.words_without_use", {"file": file, "name": name})
            continue
        known = [choice.value for choice in field.values]
        for value in meanings:
            if value not in known:
                told = {"value": value, "nearest": nearest(value, known)}
                yield Fault("sheets.words_value_unknown", {"file": file, "name": name, **told})
