"""What stands on the slates of a site's plots, before it is laid on any paper. Pure.

Which corals and in which order is the register snapshot's to say, which devices draw their slates from too, so that paper and
screen show the same rows; every box to fill in comes from the protocol.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from babel.dates import format_date

from fieldkit import messages
from fieldkit.protocol import Field, Protocol
from fieldkit.slates.places import Chart, charted

Said = Mapping[str, Any]

# In mm: a sign that a gloved hand writes takes about 5, and no box is narrower than 10. Common practice, no source.
SIGN, NARROWEST = 5.0, 10.0
_ROOM = {"choices": 15.0, "tally": 18.0, "percent": 14.0, "number": 15.0, "text": 26.0}
NOTE = 24.0
_KNOWN_OF_A_PLOT = (("plot_marker", "marker"), ("plot_depth_m", "depth_m"))
LONGEST_NOTE = 240
"""Signs of the last diver's note that are printed. Chosen by us: two or three lines."""


@dataclass(frozen=True, slots=True)
class Column:
    """A box to fill in: what stands over it, how much room a hand needs in mm, and its name where room is scarce."""

    label: str
    room: float
    short: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """A coral, or a genotype of a counted plot; without anything, a line for a coral that is not on the list."""

    number: str = ""
    called: str = ""
    position: str = ""
    genotype: str = ""
    planted: str = ""
    last: str = ""


@dataclass(frozen=True, slots=True)
class Legend:
    """What fills a field in. Without a label, what holds for all; without codes, a measure or a text."""

    label: str
    codes: tuple[str, ...]
    short: str = ""


@dataclass(frozen=True, slots=True)
class Words:
    """What stands on every slate of one language and protocol."""

    language: str
    cautions: tuple[str, ...]

    def __call__(self, key: str, /, **data: Any) -> str:
        return messages.text(f"slates.{key}", self.language, **data)


@dataclass(frozen=True, slots=True)
class Slate:
    """The slate of one plot."""

    site: str
    plot: str
    day: str
    address: str
    """Opens the same slate on the entry page."""
    called: str
    """What `Row.called` is: a tag, or a genotype."""
    rows: tuple[Row, ...]
    boxes: tuple[Column, ...]
    head: tuple[Column, ...]
    legend: tuple[Legend, ...]
    find: tuple[str, ...]
    """How to find the plot, in sentences."""
    chart: Chart | None
    words: Words


@dataclass(frozen=True, slots=True)
class Asked:
    """What is to be printed.

    `blind` leaves out what was seen last time; None does as the protocol says. `address` is the entry page's. `notes` has, by
    plot, what the diver wrote who was there last: `note`, `recorder`, `day`.
    """

    protocol: Protocol
    plots: tuple[str, ...]
    language: str
    address: str
    day: date | None = None
    blind: bool | None = None
    notes: Mapping[str, Said] | None = None


def slates(snapshot: Said, asked: Asked) -> list[Slate]:
    """The slates of plots, in the order in which they are asked for.

    Args:
        snapshot: the register as devices get it (docs/exchange.md).
    """
    plots = {plot["plot"]: plot for plot in snapshot["plots"]}
    sites = {site["site"]: site.get("name", "") for site in snapshot["sites"]}
    genotypes = {one["genotype"]: one.get("accession", "") for one in snapshot["genotypes"]}
    words = Words(asked.language, tuple(snapshot["cautions"][asked.language]))
    return [_slate(plots[id_], sites, genotypes, asked, words) for id_ in asked.plots]


def _slate(plot: Said, sites: Mapping[str, str], genotypes: Mapping[str, str], asked: Asked, words: Words) -> Slate:
    is_counted = plot.get("recorded_as") == "counted"
    rows = _groups(plot, genotypes) if is_counted else _corals(plot, genotypes, asked, words)
    fields = asked.protocol.fields_of("count" if is_counted else "coral")
    head = asked.protocol.fields_of("head")
    counted = [Column(words(name), 14.0) for name in ("alive", "dead", "missing", "part")] if is_counted else []
    return Slate(
        site=sites.get(plot.get("site", ""), ""),
        plot=plot.get("name", ""),
        day=_day(asked.day, words) if asked.day else "",
        address=f"{asked.address}#new/{plot['plot']}",
        called=words("genotype") if is_counted else words("tag"),
        rows=tuple(rows),
        boxes=(*counted, *(_column(field, fields, asked.language) for field in fields), Column(words("note"), NOTE)),
        head=tuple(_column(field, head, asked.language) for field in head),
        legend=(
            *_signs(asked, words, fields, is_counted=is_counted),
            *_codes(fields, asked.language),
            *(one for one in _codes(head, asked.language) if one.codes),
        ),
        find=tuple(_find(plot, words, (asked.notes or {}).get(plot["plot"]))),
        chart=charted((row.number, row.position) for row in rows),
        words=words,
    )


# rows


def _corals(plot: Said, genotypes: Mapping[str, str], asked: Asked, words: Words) -> list[Row]:
    is_blind = asked.protocol.last_seen == "hidden" if asked.blind is None else asked.blind
    return [
        Row(
            number=str(number),
            called=coral.get("tag", ""),
            position=coral.get("position", ""),
            genotype=genotypes.get(coral.get("genotype", ""), ""),
            last="" if is_blind else _last(coral.get("last"), asked, words),
        )
        for number, coral in enumerate(plot.get("corals", ()), 1)
    ]


def _last(seen: Said | None, asked: Asked, words: Words) -> str:
    """How the coral was seen last: its condition, and its size where it was measured."""
    if not seen:
        return words("never_seen")
    status, size = asked.protocol.with_role("status"), asked.protocol.with_role("size")
    choice = status.choice(seen["status"]) if status else None
    told = [_in(choice.label, asked.language) if choice else seen["status"]]
    if size and (measured := seen["values"].get(size.name)):
        told.append(f"{measured} {_unit(size)}".strip())
    return ", ".join(told)


def _groups(plot: Said, genotypes: Mapping[str, str]) -> list[Row]:
    return [
        Row(number=str(number), called=genotypes.get(group["genotype"], ""), planted=str(group.get("planted", "")))
        for number, group in enumerate(plot.get("groups", ()), 1)
    ]


# columns and codes


def _column(field: Field, among: Sequence[Field], language: str) -> Column:
    longest = max((len(choice.code) for choice in field.values), default=1)
    room = max(NARROWEST, SIGN * longest, _ROOM.get(field.kind, 0.0))
    return Column(_label(field, language), room, _short(field, among))


def _label(field: Field, language: str) -> str:
    unit, label = _unit(field), _in(field.label, language)
    return f"{label} ({unit})" if unit else label


def _short(field: Field, among: Sequence[Field]) -> str:
    """The shortest beginning of its name, of two letters or more, that begins no field's name or label before it.

    By these the entry page reads `bl:P` as well (row/codes.js).
    """
    lengths = range(2, len(field.name) + 1)
    return next((field.name[:n] for n in lengths if _first_called(field.name[:n], among) is field), field.name)


def _first_called(beginning: str, among: Sequence[Field]) -> Field | None:
    names = ((field, (field.name, *field.label.values())) for field in among)
    return next((field for field, called in names if any(one.lower().startswith(beginning.lower()) for one in called)), None)


def _unit(field: Field) -> str:
    return field.unit_told or ("%" if field.kind == "percent" else "")


def _signs(asked: Asked, words: Words, fields: Iterable[Field], *, is_counted: bool) -> list[Legend]:
    """The signs that hold for every row; the entry page reads them as they are written (row/codes.js)."""
    kinds = {field.kind for field in fields}
    told = [words("sign_empty")]
    if is_counted:
        told.append(words("sign_part"))
    else:
        told.append(words("sign_not_searched"))
        if well := _all_well(asked):
            told.append(words("sign_all_well", what=", ".join(well)))
    told += [words(key) for key, kind in (("sign_choices", "choices"), ("sign_tally", "tally")) if kind in kinds]
    return [Legend("", (sentence,)) for sentence in told]


def _all_well(asked: Asked) -> list[str]:
    """What "all well" says, as codes."""
    told = []
    for name, value in asked.protocol.all_well.items():
        field = asked.protocol.field(name)
        values = value if isinstance(value, list | tuple) else [value]
        choices = [choice.code for one in values if field and (choice := field.choice(str(one)))]
        if field and choices:
            told.append(f"{_in(field.label, asked.language)} {','.join(choices)}")
    return told


def _codes(fields: Sequence[Field], language: str) -> list[Legend]:
    return [
        Legend(
            _label(field, language),
            tuple(f"{choice.code} {_in(choice.label, language)}" for choice in field.values),
            _short(field, fields),
        )
        for field in fields
    ]


# the place


def _find(plot: Said, words: Words, last: Said | None) -> list[str]:
    """What is known of where the plot lies; nothing is said of what is not."""
    told = []
    landmark, bearing, far = (plot.get(name, "") for name in ("landmark", "bearing_deg", "distance_m"))
    way = ", ".join([f"{bearing}°"] * bool(bearing) + [f"{far} m"] * bool(far))
    if landmark or way:
        told.append(words("from_landmark", landmark=landmark or words("the_landmark"), way=way) if way else f"{landmark}.")
    told += [words(key, value=plot[name]) for key, name in _KNOWN_OF_A_PLOT if plot.get(name)]
    if plot.get("note"):
        told.append(plot["note"])
    if last:
        note = last["note"] if len(last["note"]) <= LONGEST_NOTE else f"{last['note'][:LONGEST_NOTE].rstrip()}…"
        told.append(words("last_diver", note=note, who=last["recorder"], day=_day(date.fromisoformat(last["day"]), words)))
    return told


def _day(day: date, words: Words) -> str:
    return format_date(day, "d MMM y", locale=words.language)


def _in(label: Mapping[str, str], language: str) -> str:
    """What a field or a value is called; a programme need not have written every language."""
    return label.get(language) or label.get(messages.DEFAULT) or next(iter(label.values()), "")
