"""Which column holds what: the row of headings found, its columns named in our words, the layout told. Pure.

Titles and legends above the headings are passed over and counted. A heading that nobody has explained is never guessed at.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from collections.abc import Mapping as Map
from dataclasses import dataclass, replace
from typing import TypeVar

from fieldkit.errors import Fault, raise_all
from fieldkit.protocol import Protocol
from fieldkit.protocol.spelling import nearest
from fieldkit.register.names import folded
from fieldkit.register.sheets.errors import SheetError
from fieldkit.register.sheets.layout import told_layout, unfit
from fieldkit.register.sheets.mapping import NAMES, ROLES, Mapping
from fieldkit.register.sheets.sheet import Row, Sheet, letter, shown

_T = TypeVar("_T")
_SEARCHED_ROWS = 50
"""How far down headings are looked for: below more title and legend than this nobody puts a table. Chosen by us."""
_LEAST_KNOWN = 2  # a title such as "Site" alone is no row of headings


@dataclass(frozen=True, slots=True)
class Column:
    """Where a value stands (from 0), and the heading above it as the person sees it."""

    place: int
    heading: str


@dataclass(frozen=True, slots=True)
class Table:
    """A sheet whose columns are understood.

    Attributes:
        mapping: as given, completed: our names throughout, columns and layout filled in.
        heading: the row of headings.
        rows: the rows below it that hold anything.
        columns: our name to its column.
        visits: in the layout `wide`, of each visit its day as written in the mapping and its columns; else none.
        not_taken: headings of columns that hold something and were not asked for.
    """

    sheet: Sheet
    layout: str
    mapping: Mapping
    heading: Row
    rows: tuple[Row, ...]
    columns: Map[str, Column]
    visits: tuple[tuple[str, Map[str, Column]], ...]
    not_taken: tuple[str, ...]


def understood_table(sheet: Sheet, mapping: Mapping, protocol: Protocol) -> Table:
    """The sheet with its columns named.

    Raises:
        SheetError: headings that are not there, stand twice, are not known, or do not fit the layout: all of them.
    """
    fields = tuple(field.name for field in protocol.fields)
    heading = _heading_row(sheet, mapping, fields)
    headings = [shown(cell) for cell in heading.cells]
    if not mapping.columns and not mapping.visits:
        mapping = replace(mapping, columns=_known_columns(headings, sheet.title, fields))
    mapping = _in_our_names(mapping, protocol, sheet.title)
    if mapping.layout is None:
        mapping = replace(mapping, layout=told_layout({*mapping.columns, *mapping.constants}, sheet.title))
    raise_all(SheetError, (*_absent(sheet, headings, mapping), *unfit(mapping, protocol, sheet.title)))
    return _table(sheet, heading, headings, mapping)


def _known_columns(headings: Sequence[str], file: str, fields: Collection[str]) -> dict[str, str]:
    known = {_key(name): name for name in (*NAMES, *fields)}
    raise_all(
        SheetError,
        (
            Fault("sheets.heading_unknown", {"file": file, "column": heading, "nearest": nearest(heading, known.values())})
            for heading in headings
            if heading.strip() and _key(heading) not in known
        ),
    )
    return {known[_key(heading)]: heading for heading in headings if heading.strip()}


def _in_our_names(mapping: Mapping, protocol: Protocol, file: str) -> Mapping:
    """With `status`, `size_cm`, `live_tissue` and `cause` for the protocol's fields of these roles, whatever it calls them."""
    called = {field.name: ours for ours, role in ROLES.items() if (field := protocol.with_role(role)) is not None}

    def renamed(named: Map[str, _T]) -> dict[str, _T]:
        for name, ours in called.items():
            if name != ours and name in named and ours in named:
                raise SheetError.of("sheets.name_twice", file=file, names=f"{name}, {ours}", field=name)
        return {called.get(name, name): value for name, value in named.items()}

    return replace(
        mapping,
        columns=renamed(mapping.columns),
        constants=renamed(mapping.constants),
        words=renamed(mapping.words),
        visits=tuple(replace(visit, columns=renamed(visit.columns)) for visit in mapping.visits),
    )


def _table(sheet: Sheet, heading: Row, headings: Sequence[str], mapping: Mapping) -> Table:
    places = {_key(text): Column(place, text.strip()) for place, text in reversed(list(enumerate(headings))) if text.strip()}
    rows = tuple(row for row in sheet.rows if row.number > heading.number)
    columns = {name: places[_key(text)] for name, text in mapping.columns.items()}
    visits = tuple(
        (visit.seen_on, {name: places[_key(text)] for name, text in visit.columns.items()}) for visit in mapping.visits
    )
    taken = {column.place for named in (columns, *(held for _, held in visits)) for column in named.values()}
    return Table(sheet, mapping.layout or "", mapping, heading, rows, columns, visits, _not_taken(headings, rows, taken))


def _not_taken(headings: Sequence[str], rows: Iterable[Row], taken: Collection[int]) -> tuple[str, ...]:
    filled = {place for row in rows for place, cell in enumerate(row.cells) if cell != "" and place not in taken}
    return tuple((headings[place].strip() if place < len(headings) else "") or letter(place) for place in sorted(filled))


def _heading_row(sheet: Sheet, mapping: Mapping, fields: Collection[str]) -> Row:
    """The row that holds most of the headings looked for; of several, the first."""
    asked = _asked(mapping) or [*NAMES, *fields]
    wanted = {_key(text) for text in asked}
    searched = sheet.rows[:_SEARCHED_ROWS]
    held = [len({_key(shown(cell)) for cell in row.cells} & wanted) for row in searched]
    most = max(held, default=0)
    if most == 0 or (not mapping.columns and most < _LEAST_KNOWN):
        first = searched[0] if searched else Row(1, ())
        raise SheetError.of(
            "sheets.no_headings",
            file=sheet.title,
            row=first.number,
            value=", ".join(shown(cell) for cell in first.cells if cell != "")[:200],
            known=", ".join(dict.fromkeys(asked)),
        )
    return searched[held.index(most)]


def _asked(mapping: Mapping) -> list[str]:
    return [*mapping.columns.values(), *(text for visit in mapping.visits for text in visit.columns.values())]


def _absent(sheet: Sheet, headings: Sequence[str], mapping: Mapping) -> Iterable[Fault]:
    """Headings that the mapping names and the sheet lacks, or has twice."""
    there = [_key(text) for text in headings]
    for text in dict.fromkeys(_asked(mapping)):
        found = [place for place, key in enumerate(there) if key == _key(text)]
        if not found:
            data = {"nearest": nearest(text, [heading.strip() for heading in headings if heading.strip()])}
            yield Fault("sheets.heading_absent", {"file": sheet.title, "column": text, **data})
        elif len(found) > 1:
            twice = ", ".join(letter(place) for place in found)
            yield Fault("sheets.heading_twice", {"file": sheet.title, "column": text, "columns": twice})


def _key(heading: str) -> str:
    return folded(heading).replace("_", "")
