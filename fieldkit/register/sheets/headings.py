"""Which column holds what: the row of headings found, its columns named in our words, the layout told. Pure.

Titles and legends above the headings are passed over and counted. A heading that nobody has explained is never guessed at.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from collections.abc import Mapping as Map
from dataclasses import dataclass, replace
from pathlib import PurePath
from typing import TypeVar

from fieldkit.errors import Fault, raise_all
from fieldkit.protocol import Protocol
from fieldkit.protocol.spelling import nearest
from fieldkit.register.names import folded
from fieldkit.register.sheets.errors import SheetError
from fieldkit.register.sheets.layout import told_layout, unfit
from fieldkit.register.sheets.mapping import FILE, NAMES, ROLES, TAB, Mapping
from fieldkit.register.sheets.sheet import Row, Sheet, letter, shown

_T = TypeVar("_T")
_SEARCHED_ROWS = 50
"""How far down headings are looked for: below more title and legend than this nobody puts a table. Chosen by us."""
_PLUS = " + "
_LEAST_KNOWN = 2  # a title such as "Site" alone is no row of headings


@dataclass(frozen=True, slots=True)
class Column:
    """Where a value stands (from 0), and the heading above it as the person sees it."""

    place: int
    heading: str
    more: tuple[int, ...] = ()
    """Where the rest of it stands, if it is split over several columns."""


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
    headings = labels(sheet, heading)
    if not mapping.columns and not mapping.visits:
        mapping = replace(mapping, columns=_known_columns(headings, sheet.title, fields))
    mapping = _with_tab_and_file(_in_our_names(mapping, protocol, sheet.title), sheet)
    if mapping.layout is None:
        mapping = replace(mapping, layout=told_layout({*mapping.columns, *mapping.constants}, sheet.title))
    raise_all(SheetError, (*_absent(sheet, headings, mapping), *unfit(mapping, protocol, sheet.title)))
    return _table(sheet, heading, headings, mapping)


def _known_columns(headings: Sequence[str], file: str, fields: Collection[str]) -> dict[str, tuple[str, ...]]:
    known = {_key(name): name for name in (*NAMES, *fields)}
    raise_all(SheetError, _unknown_headings(headings, file, known))
    return {known[_key(heading)]: (heading,) for heading in headings if heading.strip()}


def _unknown_headings(headings: Sequence[str], file: str, known: Map[str, str]) -> Iterable[Fault]:
    told = set()
    for heading in headings:
        plain = heading.rpartition(" [")[0]
        if plain and _key(plain) in known and _key(plain) not in told:
            told.add(_key(plain))
            columns = ", ".join(one for one in headings if one.startswith(f"{plain} ["))
            yield Fault("sheets.heading_twice", {"file": file, "column": plain, "columns": columns})
        elif heading and not plain and _key(heading) not in known:
            yield Fault(
                "sheets.heading_unknown", {"file": file, "column": heading, "nearest": nearest(heading, known.values())}
            )


def labels(sheet: Sheet, heading: Row) -> list[str]:
    """What each column is called: its heading; where that stands twice, with what stands above it, or with its letter.

    "June 2024" merged over "State" and "Width", and again for the next visit, gives "June 2024 / State" and so on. A merged
    cell holds for the columns up to the next cell that holds something.
    """
    texts = [shown(cell).strip() for cell in heading.cells]
    twice = _repeated(texts)
    over = _filled_right(sheet, heading, len(texts))
    told = [f"{up} / {text}" if up and _key(text) in twice else text for up, text in zip(over, texts, strict=True)]
    twice = _repeated(told)
    return [f"{texts[place]} [{letter(place)}]" if _key(text) in twice else text for place, text in enumerate(told)]


def _repeated(texts: Iterable[str]) -> set[str]:
    return {key for key, n in Counter(_key(text) for text in texts if text).items() if n > 1}


def _places(headings: Sequence[str]) -> dict[str, int]:
    """Where each column stands, by its label; one without a heading by its letter, as in "[H]"."""
    return {_key(text or f"[{letter(place)}]"): place for place, text in enumerate(headings)}


def _filled_right(sheet: Sheet, heading: Row, width: int) -> list[str]:
    """The row of cells right above the headings, each cell standing for the blanks to its right."""
    above = next((row for row in sheet.rows if row.number == heading.number - 1), Row(0, ()))
    filled, text = [], ""
    for place in range(width):
        text = shown(above.cell(place)).strip() or text
        filled.append(text)
    return filled


def _with_tab_and_file(mapping: Mapping, sheet: Sheet) -> Mapping:
    named = {TAB: sheet.name, FILE: PurePath(sheet.file).stem}
    return replace(mapping, constants={name: named.get(text, text) or text for name, text in mapping.constants.items()})


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
    places = _places(headings)
    rows = tuple(row for row in sheet.rows if row.number > heading.number)
    columns = {name: _column(_first(texts, places), places) for name, texts in mapping.columns.items()}
    columns |= {f"joined {text}": _column(text, places) for text in mapping.joined}
    visits = tuple(
        (visit.seen_on, {name: _column(text, places) for name, text in visit.columns.items()}) for visit in mapping.visits
    )
    held = (columns, *(of_visit for _, of_visit in visits))
    taken = {place for named in held for column in named.values() for place in (column.place, *column.more)}
    return Table(sheet, mapping.layout or "", mapping, heading, rows, columns, visits, _not_taken(headings, rows, taken))


def _first(texts: Sequence[str], places: Collection[str]) -> str:
    """Of several headings that may hold a value, the first that is there."""
    return next((text for text in texts if all(_key(part) in places for part in _parts(text, places))), texts[0])


def _parts(text: str, places: Collection[str]) -> list[str]:
    return [text] if _key(text) in places else text.split(_PLUS)


def _column(text: str, places: Map[str, int]) -> Column:
    first, *more = (places[_key(part)] for part in _parts(text, places))
    return Column(first, text.strip(), tuple(more))


def _not_taken(headings: Sequence[str], rows: Iterable[Row], taken: Collection[int]) -> tuple[str, ...]:
    filled = {place for row in rows for place, cell in enumerate(row.cells) if cell != "" and place not in taken}
    return tuple((headings[place].strip() if place < len(headings) else "") or letter(place) for place in sorted(filled))


def _heading_row(sheet: Sheet, mapping: Mapping, fields: Collection[str]) -> Row:
    """The row that holds most of the headings looked for; of several, the first."""
    asked = _asked(mapping) or [*NAMES, *fields]
    wanted = {_key(text) for text in asked}
    searched = sheet.rows[:_SEARCHED_ROWS]
    held = [len({_key(text) for text in labels(sheet, row)} & wanted) for row in searched]
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
    return [*(text for texts in mapping.columns.values() for text in texts), *_asked_once(mapping)]


def _asked_once(mapping: Mapping) -> list[str]:
    return [*(text for visit in mapping.visits for text in visit.columns.values()), *mapping.joined]


def _absent(sheet: Sheet, headings: Sequence[str], mapping: Mapping) -> Iterable[Fault]:
    """Headings that the mapping names and the sheet lacks, or has twice."""
    there = _places(headings)
    asked = [_first(texts, there) for texts in mapping.columns.values()]
    for text in dict.fromkeys((*asked, *_asked_once(mapping))):
        for part in _parts(text, there):
            if _key(part) not in there:
                yield _absent_heading(sheet, headings, part)


def _absent_heading(sheet: Sheet, headings: Sequence[str], text: str) -> Fault:
    alike = [
        heading for heading in headings if heading.startswith(f"{text.strip()} [") or heading.endswith(f"/ {text.strip()}")
    ]
    if alike:
        return Fault("sheets.heading_twice", {"file": sheet.title, "column": text, "columns": ", ".join(alike)})
    known = [heading for heading in headings if heading]
    return Fault("sheets.heading_absent", {"file": sheet.title, "column": text, "nearest": nearest(text, known)})


def _key(heading: str) -> str:
    return folded(heading).replace("_", "")
