"""What was taken as it stands, and yet may not be what happened: asked of the person who knows the sheet. Pure.

Each of these changed a published figure once: a plot that was not found and read as dead, places never planted written down as
missing, a tab whose site column names another site, one site under two names.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence

from fieldkit.errors import Fault
from fieldkit.register.names import folded
from fieldkit.register.sheets.account import Ask, listed
from fieldkit.register.sheets.alike import close_names
from fieldkit.register.sheets.headings import Table
from fieldkit.register.sheets.things import Names, Placed

_LOST = ("dead", "missing")
_FEWEST = 8
_NEARLY_ALL, _FEW = 0.9, 0.5
"""A plot of eight or more of which nine tenths are newly gone, where less than half were the visit before. Chosen by us."""


def doubts(table: Table, placed: Sequence[Placed], names: Names) -> list[Ask]:
    """The questions that nobody has to answer before the rows are taken, but somebody should."""
    return [
        *_close_names(table, placed),
        *_other_site(table, placed, names),
        *_jumps(table, placed),
        *_never_alive(table, placed),
    ]


def _ask(table: Table, name: str, key: str, value: str, rows: Iterable[int], **data: str) -> Ask:
    numbers = tuple(dict.fromkeys(rows))
    column = table.columns[name].heading if name in table.columns else name
    told = {"sheet": table.sheet.title, "column": column, "value": value, "n": len(numbers), "rows": listed(numbers), **data}
    return Ask(table.sheet.title, column, value, numbers, Fault(f"sheets.{key}", told))


def _close_names(table: Table, placed: Sequence[Placed]) -> Iterator[Ask]:
    """Sites, and plots of a site, that may be one under two names."""
    sites: dict[str, list[int]] = defaultdict(list)
    plots: dict[str, dict[str, list[int]]] = defaultdict(lambda: defaultdict(list))
    for one in placed:
        sites[one.line.site].append(one.line.row)
        plots[folded(one.line.site)][one.line.plot].append(one.line.row)
    for name, groups in (("site", [sites]), ("plot", list(plots.values()) if "plot" in table.columns else [])):
        settled = {folded(word) for known, others in table.mapping.same.get(name, {}).items() for word in (known, *others)}
        for rows in groups:
            for pair in close_names(rows, settled):
                few, many = (name for _, name in sorted((len(rows[name]), name) for name in pair))
                yield _ask(table, name, "ask_close_names", few, rows[few], other=many, what=name)


def _other_site(table: Table, placed: Sequence[Placed], names: Names) -> Iterator[Ask]:
    """Rows of a tab that is called after one site, while their own column names another."""
    tab = table.sheet.name
    sites = {folded(one.line.site) for one in placed}
    if "site" in table.columns and tab and (folded(tab) in sites or names.site(tab)):
        rows = defaultdict(list)
        for one in placed:
            if folded(one.line.site) != folded(tab):
                rows[one.line.site].append(one.line.row)
        for site, found in rows.items():
            yield _ask(table, "site", "ask_other_site", site, found, tab=tab)


def _jumps(table: Table, placed: Sequence[Placed]) -> Iterator[Ask]:
    """Visits at which nearly all of a plot were dead or missing, where at the visit before most were alive."""
    seen: dict[str, dict[str, dict[str, Placed]]] = defaultdict(lambda: defaultdict(dict))
    for one in placed:
        for seen_then in one.line.seen:
            if _state(one, seen_then.values):
                seen[one.plot][seen_then.day.day.isoformat()][one.thing.id] = one
    for visits in seen.values():
        before: dict[str, str] = {}
        for day, corals in sorted(visits.items()):
            now = {coral: _state_on(one, day) for coral, one in corals.items()}
            lost = [coral for coral, state in now.items() if state in _LOST]
            known = [before[coral] for coral in now if coral in before]
            is_jump = (
                min(len(now), len(known)) >= _FEWEST
                and len(lost) >= _NEARLY_ALL * len(now)
                and sum(state in _LOST for state in known) < _FEW * len(known)
            )
            if is_jump:
                first = next(iter(corals.values()))
                data = {"plot": first.line.plot, "lost": str(len(lost)), "of": str(len(now)), "day": day}
                yield _ask(table, "status", "ask_jump", first.line.plot, (corals[coral].line.row for coral in lost), **data)
            before |= now


def _state(one: Placed, values: dict[str, object]) -> str | None:
    field = one.line.cells.rules.field("status")
    state = values.get(field.name) if field is not None else None
    return state if isinstance(state, str) else None


def _state_on(one: Placed, day: str) -> str:
    return next(_state(one, seen.values) or "" for seen in one.line.seen if seen.day.day.isoformat() == day)


def _never_alive(table: Table, placed: Sequence[Placed]) -> Iterator[Ask]:
    """Corals of which the sheet knows nothing but that they were missing: perhaps nothing was ever planted there."""
    if table.layout == "one_row_per_coral":  # which knows of the last visit alone
        return
    states: dict[str, set[str]] = defaultdict(set)
    rows: dict[str, list[int]] = defaultdict(list)
    visits: Counter[str] = Counter()
    for one in placed:
        if one.thing.is_new and one.line.seen:
            states[one.thing.id] |= {_state(one, seen.values) or "" for seen in one.line.seen}
            rows[one.thing.id].append(one.line.row)
            visits[one.thing.id] += len(one.line.seen)
    never = [coral for coral, found in states.items() if found == {"missing"} and visits[coral] > 1]
    if never:
        yield _ask(table, "status", "ask_never_alive", "", sorted(rows[coral][0] for coral in never), corals=str(len(never)))
