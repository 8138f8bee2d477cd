"""Taking a sheet in: every row becomes observations, or is refused with its reason, or was blank. Pure.

The rule for all of it: take what is certain, ask what is not, report every cell that was neither, and never turn silence
into a death.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from datetime import date
from typing import Any

from fieldkit.ledger import Entry, canonical, derived_id, sha256
from fieldkit.protocol import Protocol
from fieldkit.register.names import folded
from fieldkit.register.sheets.account import Left, Taken, about
from fieldkit.register.sheets.alike import refuse_alike
from fieldkit.register.sheets.cells import Of, Rules, View
from fieldkit.register.sheets.doubts import doubts
from fieldkit.register.sheets.headings import Table, understood_table
from fieldkit.register.sheets.learnt import Learnt
from fieldkit.register.sheets.lines import Line, Seen, check_days, read_line
from fieldkit.register.sheets.mapping import Mapping
from fieldkit.register.sheets.sessions import sealed_session
from fieldkit.register.sheets.sheet import Row, Sheet, shown
from fieldkit.register.sheets.telling import asks_about_blanks, asks_of, remarks
from fieldkit.register.sheets.things import Names, Placed, Said, Things

_TOTALS = frozenset({"total", "totals", "totales", "grandtotal", "subtotal", "sum", "suma", "mean", "average", "promedio"})


Told = Callable[[int, int], None]
"""Is told how much of how much is done."""
_TOLD_EVERY = 1_000


def untold(done: int, of: int) -> None:
    """For who does not wait."""


def take(sheet: Sheet, mapping: Mapping, names: Names, protocol: Protocol, *, today: date, told: Told = untold) -> Taken:
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
    lines = _lines(table, rows, protocol, today, told)
    placed, things = _placed(lines, table.layout, digest, names)
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
        asks=(*asks_of(refused), *asks_about_blanks(table, placed), *doubts(table, placed, names)),
        left=(*map(Left, sheet.remarks), *passed, *remarks(table, placed, things)),
    )


def take_all(
    sheets: Iterable[Sheet], mapping: Mapping, names: Names, protocol: Protocol, *, today: date, told: Told = untold
) -> list[Taken]:
    """The tabs of a workbook one after the other, each knowing what those before it entered."""
    found: list[Taken] = []
    for sheet in sheets:
        entries = [entry for taken in found for entry in taken.entries]
        found.append(take(sheet, mapping, Learnt(names, entries) if entries else names, protocol, today=today, told=told))
    return found


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


def _lines(table: Table, rows: Sequence[Row], protocol: Protocol, today: date, told: Told) -> list[Line]:
    mapping = table.mapping
    # Nothing can have been seen after the file was last saved.
    saved_on = table.sheet.saved_on
    rules = Rules(mapping, protocol, min(today, saved_on) if saved_on else today)
    of: Of = "count" if table.layout == "counts" else "coral"
    whole = View(table.sheet, table.columns, mapping.constants, rules, of)
    visits = [
        View(table.sheet, {**table.columns, **columns}, {**mapping.constants, "seen_on": day}, rules, of)
        for day, columns in table.visits
    ]
    lines = []
    for n, row in enumerate(rows):
        if n % _TOLD_EVERY == 0:
            told(n, len(rows))
        lines.append(read_line(row, table.layout, whole, visits or [whole]))
    return lines


def _placed(lines: list[Line], layout: str, digest: str, names: Names) -> tuple[list[Placed], Things]:
    """The lines that are taken, in the order of the sheet, and all that they speak of."""
    is_counted = layout == "counts"
    while True:
        things = Things(digest, names)
        sound = [line for line in lines if not line.cells.refused]
        sound.sort(key=lambda line: line.tag is None and not is_counted)
        found = [things.group_of(line) if is_counted else things.coral_of(line) for line in sound]
        placed = sorted((one for one in found if one is not None), key=lambda one: one.line.row)
        late = [one for one in placed if (_lacks_number(one) if is_counted else _is_early(one))]
        if not late and not is_counted:
            late = refuse_alike(placed, names, row_is_coral=layout != "long")
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
