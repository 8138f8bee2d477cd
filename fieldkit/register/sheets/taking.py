"""Taking a sheet in: every row becomes observations, or is refused with its reason, or was blank. Pure.

The rule for all of it: take what is certain, ask what is not, report every cell that was neither, and never turn silence
into a death.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from typing import Any

from fieldkit.errors import Fault
from fieldkit.ledger import Entry, canonical, derived_id, sha256
from fieldkit.protocol import Protocol
from fieldkit.register.names import folded
from fieldkit.register.sheets.account import Ask, Left, Refused, Taken, about, listed
from fieldkit.register.sheets.cells import NOT_READ, Of, Rules, View
from fieldkit.register.sheets.headings import Table, understood_table
from fieldkit.register.sheets.lines import Line, Seen, check_days, read_line
from fieldkit.register.sheets.mapping import Mapping
from fieldkit.register.sheets.sessions import sealed_session
from fieldkit.register.sheets.sheet import Row, Sheet, shown
from fieldkit.register.sheets.things import Names, Placed, Said, Things

_TOTALS = frozenset({"total", "totals", "totales", "grandtotal", "subtotal", "sum", "suma", "mean", "average", "promedio"})
# Refusals of one kind that one answer in the mapping file would cure: asked once, not row by row. True: once for each word.
_ASKED = {
    "sheets.day_order_unknown": ("sheets.ask_day_order", False),
    "sheets.status_unknown": ("sheets.ask_status", True),
    "sheets.word_unknown": ("sheets.ask_word", True),
    "sheets.name_turned_into_day": ("sheets.ask_name_turned_into_day", False),
}


def take(sheet: Sheet, mapping: Mapping, names: Names, protocol: Protocol, *, today: date) -> Taken:
    """What a sheet says, as entries, and the account of its rows.

    Args:
        mapping: what its columns and words mean; the empty mapping where its headings are ours.
        names: what the base knows already.
        protocol: the programme's protocol; every value is judged by it.
        today: days after it are refused.

    Raises:
        SheetError: the headings cannot be understood; nothing was taken.
    """
    table = understood_table(sheet, mapping, protocol)
    digest = import_digest(sheet, mapping)
    passed, rows = _sorted_out(table)
    lines = _lines(table, rows, protocol, today)
    placed, things = _placed(lines, table.layout == "counts", digest, names)
    refused = [one for line in lines for one in line.cells.refused]
    entries = [
        *_register(digest, things),
        *_plantings(digest, placed, things, protocol),
        *_observations(digest, placed, protocol),
    ]
    return Taken(
        digest=digest,
        entries=tuple(entries),
        rows_taken=len(placed),
        corals=len(things.corals) + len(things.groups),
        observations=sum(len(one.line.seen) for one in placed),
        refused=tuple(refused),
        asks=(*_asks(sheet, refused), *_ask_about_blanks(table, placed)),
        left=(*map(Left, sheet.remarks), *passed, *_remarks(table, placed, things)),
    )


def import_digest(sheet: Sheet, mapping: Mapping) -> str:
    """What an import is known by, and taken back by: the bytes of the file, the tab, and what the mapping says."""
    return sha256(canonical([sheet.digest, sheet.name, mapping.digest]))


def _sorted_out(table: Table) -> tuple[list[Left], list[Row]]:
    """What stands in no row of data: titles, totals, repeated headings, blank rows. And the rows that do hold data."""
    heads = [row.number for row in table.sheet.rows if row.number < table.heading.number]
    totals = [row.number for row in table.rows if _is_total(row)]
    again = [row.number for row in table.rows if row.cells == table.heading.cells]
    passed = {*totals, *again}
    numbers = {row.number for row in table.rows}
    blanks = [number for number in range(table.heading.number + 1, max(numbers, default=0)) if number not in numbers]
    said = {"above_headings": heads, "total_rows": totals, "headings_again": again, "blank_rows": blanks}
    left = [about(f"sheets.left_{name}", rows) for name, rows in said.items() if rows]
    return left, [row for row in table.rows if row.number not in passed]


def _is_total(row: Row) -> bool:
    first = next((shown(cell) for cell in row.cells if cell != ""), "")
    return folded(first).rstrip(":") in _TOTALS


def _lines(table: Table, rows: Iterable[Row], protocol: Protocol, today: date) -> list[Line]:
    mapping = table.mapping
    rules = Rules(mapping, protocol, today)
    of: Of = "count" if table.layout == "counts" else "coral"
    whole = View(table.sheet, table.columns, mapping.constants, rules, of)
    visits = [
        View(table.sheet, {**table.columns, **columns}, {**mapping.constants, "seen_on": day}, rules, of)
        for day, columns in table.visits
    ]
    return [read_line(row, table.layout, whole, visits or [whole]) for row in rows]


def _placed(lines: list[Line], is_counted: bool, digest: str, names: Names) -> tuple[list[Placed], Things]:
    """The lines that are taken, in the order of the sheet, and all that they speak of."""
    while True:
        things = Things(digest, names)
        sound = [line for line in lines if not line.cells.refused]
        sound.sort(key=lambda line: line.tag is None and not is_counted)
        found = [things.group_of(line) if is_counted else things.coral_of(line) for line in sound]
        placed = sorted((one for one in found if one is not None), key=lambda one: one.line.row)
        late = [one for one in placed if (_lacks_number(one) if is_counted else _is_early(one))]
        if not late:
            return placed, things
        # Placed again without them: nothing may be entered of which only a refused row speaks.


def _is_early(placed: Placed) -> bool:
    """Whether a row that gives no planting day itself lies before the one that another row gives."""
    if placed.line.planted_on is None and placed.thing.planted_on is not None:
        check_days(placed.line, placed.thing.planted_on)
    return bool(placed.line.cells.refused)


def _lacks_number(placed: Placed) -> bool:
    """Whether no row says how many were planted."""
    if "planted" not in placed.thing.facts and placed.thing.is_new:
        placed.line.cells.refuse("planted", "planted_missing")
    return bool(placed.line.cells.refused)


def _register(digest: str, things: Things) -> list[Entry]:
    said = list(things.said())
    return sealed_session(digest, {}, said) if said else []


def _plantings(digest: str, placed: list[Placed], things: Things, protocol: Protocol) -> list[Entry]:
    """What was put into counted plots: one session a site and day."""
    sites = {one.plot: one.site for one in placed}
    sessions: dict[tuple[str, str], list[Said]] = defaultdict(list)
    for (plot, genotype, day), group in things.groups.items():
        if group.is_new and plot in sites and "planted" in group.facts:
            count = group.facts["planted"][0]
            said = {"row": group.id, "plot": plot, "genotype": genotype, "count": count}
            sessions[sites[plot], day].append(("planting", said))
    opening = {"protocol": protocol.digest}
    return [
        entry
        for (site, day), said in sessions.items()
        for entry in sealed_session(digest, {**opening, "site": site, "day": day}, said)
    ]


def _observations(digest: str, placed: list[Placed], protocol: Protocol) -> list[Entry]:
    """One session a site, day, recorder and round."""
    sessions: dict[tuple[tuple[str, str], ...], list[Said]] = defaultdict(list)
    for one in placed:
        for seen in one.line.seen:
            sessions[_opening(one, seen)].append(("observation", _observation(digest, one, seen)))
    return [
        entry
        for opening, said in sessions.items()
        for entry in sealed_session(digest, {"protocol": protocol.digest, **dict(opening)}, said)
    ]


def _opening(placed: Placed, seen: Seen) -> tuple[tuple[str, str], ...]:
    said = {"site": placed.site, "day": seen.day.day.isoformat(), "recorder": seen.recorder, "round": seen.round}
    return tuple((name, value) for name, value in said.items() if value is not None)


def _observation(digest: str, placed: Placed, seen: Seen) -> dict[str, Any]:
    row = str(placed.line.row)
    name = derived_id("import", digest, "row", row, str(seen.place))
    return {"row": name, "plot": placed.plot, "line": row, **placed.named, **seen.values}


def _asks(sheet: Sheet, refused: Iterable[Refused]) -> list[Ask]:
    """The questions that refused cells come down to."""
    cells: dict[tuple[str, str, str], list[Refused]] = defaultdict(list)
    for one in refused:
        if one.fault.key in _ASKED:
            key, by_word = _ASKED[one.fault.key]
            cells[key, one.column, folded(one.value) if by_word else ""].append(one)
    return [_ask(sheet, key, found) for (key, _, _), found in cells.items()]


def _ask(sheet: Sheet, key: str, cells: list[Refused]) -> Ask:
    first = cells[0]
    rows = tuple(dict.fromkeys(one.row for one in cells))
    data = {**first.fault.data, "column": first.column, "value": first.value, "n": len(rows), "rows": listed(rows)}
    return Ask(sheet.title, first.column, first.value, rows, Fault(key, data))


def _ask_about_blanks(table: Table, placed: Iterable[Placed]) -> list[Ask]:
    """Blank states were taken as not read; whether they were is for the mapping to say once."""
    if "" in {folded(word) for word in table.mapping.status.get(NOT_READ, ())}:
        return []
    rows: dict[str, list[int]] = defaultdict(list)
    for one in placed:
        for heading in one.line.blank_states:
            rows[heading].append(one.line.row)
    return [
        Ask(
            table.sheet.title,
            heading,
            "",
            tuple(found),
            Fault("sheets.ask_blank_status", {"column": heading, "n": len(found), "rows": listed(found)}),
        )
        for heading, found in rows.items()
    ]


def _remarks(table: Table, placed: list[Placed], things: Things) -> list[Left]:
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
