"""The second stratum: which sessions of a site make one visit, and which of a visit are one slate typed twice."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Mapping
from typing import Any

from fieldkit.base.desk import Desk
from fieldkit.base.rows import SessionRow
from fieldkit.ledger import Entry
from fieldkit.register.names import folded
from fieldkit.settle.calendar import Dive, Visitor, day_of, visits
from fieldkit.settle.matter import Matter
from fieldkit.settle.place import noted
from fieldkit.settle.questions import SlatePair, slate_pairs
from fieldkit.settle.reading import read
from fieldkit.settle.slates import sharing, typed_twice


def put_visits(desk: Desk, sites: Collection[str], apart: Collection[str] = ()) -> dict[str, str | None]:
    """Compute the visits of these sites.

    Args:
        apart: sessions that may have no part in them any more.

    Returns:
        The sessions whose visit is another than it was, with the visit that it was.
    """
    rows = desk.state.calendar(sites, apart)
    by_site: dict[str, list[Visitor]] = defaultdict(list)
    for row in rows:
        if row["visits"] and row["site"] in sites and (day := day_of(row["day"])):
            protocol = desk.protocol(row["protocol"] or "")
            by_site[row["site"]].append(Visitor(row["id"], day, protocol.same_visit_days if protocol else 0, row["named"]))
    found = {session: visit for visitors in by_site.values() for session, visit in visits(visitors).items()}
    moved = {row["id"]: row["visit"] for row in rows if row["visit"] != found.get(row["id"])}
    desk.state.put_visits({id_: found.get(id_) for id_ in moved})
    return moved


def put_slates(desk: Desk, visits: Iterable[tuple[str, str]]) -> set[str]:
    """Look for slates typed twice among the sessions of each visit. Returns the sessions about which the answer changed.

    Args:
        visits: site and visit.
    """
    units = {f"{site} {visit}": (site, visit) for site, visit in visits}
    before = desk.state.take_out_slates(units)
    after: set[SlatePair] = set()
    for unit, visit in units.items():
        there = _sharing_a_plot(desk.state.sessions_of_visit(*visit))
        pairs, matters = _pairs(desk, unit, there) if len(there) > 1 else ([], [])
        desk.state.put_slates(unit, pairs)
        desk.state.put_matters([unit], matters)
        after |= set(pairs)
    return {id_ for one, other, *_ in before ^ after for id_ in (one, other)}


def _sharing_a_plot(there: Mapping[str, SessionRow]) -> dict[str, SessionRow]:
    """The sessions that observed a plot which another of these observed too. The others share no row with any."""
    sessions = Counter(plot for row in there.values() for plot in row.session.plots)
    return {id_: row for id_, row in there.items() if any(sessions[plot] > 1 for plot in row.session.plots)}


def _pairs(desk: Desk, unit: str, there: Mapping[str, SessionRow]) -> tuple[list[SlatePair], list[Matter]]:
    rows_of = _rows(desk.observations(there), there)
    shared = sharing(rows_of)
    dives = {id_: desk.dive(there[id_]) for pair in shared for id_ in pair}
    typed = {id_: {coral: _typed(entry, dive) for coral, entry in rows_of[id_].items()} for id_, dive in dives.items()}
    return slate_pairs(typed_twice(shared, typed, dives), typed, desk.rulings(dives, at_once=2), unit)


def _rows(observations: Iterable[Entry], sessions: Iterable[str]) -> dict[str, dict[str, Entry]]:
    """Session to what it noted its corals as to the observation. Of a coral noted twice the smallest digest stands for both."""
    found: dict[str, dict[str, Entry]] = {id_: {} for id_ in sessions}
    for entry in sorted(observations, key=lambda entry: entry.digest, reverse=True):
        coral = folded(noted(entry.values)) or entry.values.get("coral")
        found[entry.session][f"{entry.values.get('plot')} {coral}"] = entry
    return found


def _typed(entry: Entry, dive: Dive) -> Mapping[str, Any]:
    """What was typed in a row: the protocol's fields, and the note."""
    note = entry.values.get("note")
    return {**read(entry, dive).values, **({"note": note} if isinstance(note, str) else {})}
