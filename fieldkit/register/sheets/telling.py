"""What a person is told beside the refused cells: the questions they come down to, and remarks on what was taken. Pure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from fieldkit.errors import Fault
from fieldkit.register.names import folded
from fieldkit.register.sheets.account import Ask, Left, Refused, about, listed
from fieldkit.register.sheets.cells import NOT_READ
from fieldkit.register.sheets.headings import Table
from fieldkit.register.sheets.sheet import Sheet
from fieldkit.register.sheets.things import Placed, Things

# Refusals of one kind that one answer in the mapping file would cure: asked once, not row by row. True: once for each word.
_ASKED = {
    "sheets.day_order_unknown": ("sheets.ask_day_order", False),
    "sheets.status_unknown": ("sheets.ask_status", True),
    "sheets.word_unknown": ("sheets.ask_word", True),
    "sheets.tag_alike": ("sheets.ask_tag_alike", True),
    "sheets.name_turned_into_day": ("sheets.ask_name_turned_into_day", False),
}


def asks_of(refused: Iterable[Refused]) -> list[Ask]:
    """The questions that refused cells come down to."""
    cells: dict[tuple[str, str, str], list[Refused]] = defaultdict(list)
    for one in refused:
        if one.fault.key in _ASKED:
            key, by_word = _ASKED[one.fault.key]
            cells[key, one.column, folded(one.value) if by_word else ""].append(one)
    return [_ask(key, found) for (key, _, _), found in cells.items()]


def _ask(key: str, cells: list[Refused]) -> Ask:
    first = cells[0]
    rows = tuple(dict.fromkeys(one.row for one in cells))
    data = {**first.fault.data, "column": first.column, "value": first.value, "n": len(rows), "rows": listed(rows)}
    return Ask(first.sheet, first.column, first.value, rows, Fault(key, data))


def asks_about_blanks(table: Table, placed: Iterable[Placed]) -> list[Ask]:
    """Blank states were taken as not read; whether they were is for the mapping to say once."""
    if "" in {folded(word) for word in table.mapping.status.get(NOT_READ, ())}:
        return []
    rows: dict[str, list[int]] = defaultdict(list)
    for one in placed:
        for heading in one.line.blank_states:
            rows[heading].append(one.line.row)
    return [_ask_about_blank(table.sheet, heading, found) for heading, found in rows.items()]


def _ask_about_blank(sheet: Sheet, heading: str, rows: list[int]) -> Ask:
    data = {"column": heading, "n": len(rows), "rows": listed(rows)}
    return Ask(sheet.title, heading, "", tuple(rows), Fault("sheets.ask_blank_status", data))


def remarks(table: Table, placed: list[Placed], things: Things) -> list[Left]:
    """What a person should know of what was taken."""
    left = [_about_columns(table)] if table.not_taken else []
    named = {*table.columns, *table.mapping.constants}
    if "plot" not in named:
        left.append(Left(Fault("sheets.left_no_plots")))
    if "planted_on" not in named:
        left.append(Left(Fault("sheets.left_no_planting_days", {"n": len(things.corals)})))
    rows: dict[str, list[int]] = defaultdict(list)
    for one in placed:
        for notice in sorted(one.line.notices):
            rows[notice].append(one.line.row)
        if any(seen.day.precision != "day" for seen in one.line.seen):
            rows["days_by_month"].append(one.line.row)
    for thing in [*things.corals, *things.groups.values()]:
        if not thing.is_new:
            rows["corals_known"].append(thing.row)
        elif thing.planted_on is None and "planted_on" in named:
            rows["no_planting_day"].append(thing.row)
        elif thing.planted_on is not None and thing.planted_on.precision != "day":
            rows["planted_by_month"].append(thing.row)
    return [*left, *(about(f"sheets.left_{name}", sorted(found)) for name, found in sorted(rows.items()))]


def _about_columns(table: Table) -> Left:
    names = ", ".join(table.not_taken)
    return Left(Fault("sheets.left_columns", {"n": len(table.not_taken), "columns": names}))
