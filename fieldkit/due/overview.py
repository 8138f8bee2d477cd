"""What is due as of a day, plot by plot: read from a view, decided by the pure modules beside this one. Reads only."""

from __future__ import annotations

import json
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from fieldkit.base import View
from fieldkit.due.day_plan import Job
from fieldkit.due.hands import DONE, Need, Seen, Tended, asks_of, needs
from fieldkit.due.minutes import USUAL, Minutes, minutes_for, pace_by_minutes, pace_by_photos
from fieldkit.due.schedule import Event, Visit, after, by_age, waited_for
from fieldkit.protocol import Protocol, number
from fieldkit.protocol.renaming import Renaming
from fieldkit.register.names import in_order
from fieldkit.reports.programme.things import names_of
from fieldkit.reports.slates import SEARCHES_KEPT
from fieldkit.settle.calendar import day_of
from fieldkit.settle.camera import time_of

SESSIONS_ASKED = 5
"""Newest sessions of a plot that tell how long it takes: a crew grows quicker, and corals grow. Chosen by us."""

_PLACE = ("landmark", "bearing_deg", "distance_m", "marker", "depth_m")
_NAMED = "(SELECT value FROM json_each(?))"
_LOOKED = "('counted', 'agrees with a counted one', 'in a matter', 'overruled', 'not searched')"


@dataclass(frozen=True)
class CoralNeeds:
    """A coral that needs a hand, and what it is called."""

    coral: str
    called: str
    needs: tuple[Need, ...]


@dataclass(frozen=True)
class PlotDue:
    """One plot.

    Attributes:
        is_followed: whether it is visited by the schedule; others are never due.
        corals: how many are to be looked for there; in a counted plot those that were not dead when counted last.
        genotypes: those that stand in it, ids.
        visits: those that are due or overdue, the first to close first, then those that come.
        corals_in_need: in the order of their tags.
        visited_on: the last day on which at least half of what was to be read there was looked for.
        minutes: what working it takes; None where there is nothing to do yet.
        place: how it is found: landmark, bearing_deg, distance_m, marker, depth_m.
    """

    id: str
    called: str
    site: str
    site_called: str
    is_followed: bool
    corals: int
    genotypes: frozenset[str]
    visits: tuple[Visit, ...]
    corals_in_need: tuple[CoralNeeds, ...]
    visited_on: date | None
    minutes: Minutes | None
    place: Mapping[str, str]

    @property
    def visit(self) -> Visit | None:
        """The visit that presses most; None: none is due."""
        return next((one for one in self.visits if one.state != "coming"), None)

    @property
    def coming(self) -> Visit | None:
        return next((one for one in self.visits if one.state == "coming"), None)

    @property
    def hands(self) -> Counter[str]:
        """How many corals need each hand."""
        return Counter(need.hand for coral in self.corals_in_need for need in coral.needs)

    @property
    def is_diseased(self) -> bool:
        return "work_last" in self.hands

    @property
    def job(self) -> Job | None:
        """Its work for a day plan; None where nothing is due and no hand can be given."""
        given = _given(self.hands)
        if self.minutes is None or not (self.visit or given):
            return None
        return Job(self.id, self.called, self.site, self.visit, given, self.is_diseased, self.minutes.minutes)


@dataclass(frozen=True)
class Due:
    """What is due as of a day.

    Attributes:
        plots: the most pressing first.
        events: those of the register, the newest first.
        followed, others: how many plots are visited by the schedule, and how many are not.
        undated: corals of followed plots that have no schedule, since nobody knows when they were planted.
    """

    day: date
    plots: tuple[PlotDue, ...]
    events: tuple[Event, ...] = ()
    followed: int = 0
    others: int = 0
    undated: int = 0

    def in_state(self, state: str) -> list[PlotDue]:
        """The plots whose most pressing visit is due, or overdue."""
        return [plot for plot in self.plots if plot.visit and plot.visit.state == state]

    @property
    def coming(self) -> list[PlotDue]:
        """The plots of which nothing is due, by when the next window opens."""
        found = [plot for plot in self.plots if plot.visit is None and plot.coming]
        return sorted(found, key=lambda plot: plot.coming.window.opens)  # type: ignore[union-attr]

    @property
    def in_need(self) -> list[PlotDue]:
        """The plots with corals that need a hand, healthy ones first."""
        return sorted((plot for plot in self.plots if plot.corals_in_need), key=lambda plot: plot.is_diseased)

    @property
    def hands(self) -> Counter[str]:
        return sum((plot.hands for plot in self.plots), Counter())


def carried(plots: Iterable[PlotDue]) -> dict[str, int]:
    """What a trip to these plots should carry, and for how many: `slates` for so many corals, and for each hand."""
    plots = list(plots)
    read = sum(plot.corals for plot in plots if plot.visit)
    return {name: n for name, n in ({"slates": read} | dict(sum((plot.hands for plot in plots), Counter()))).items() if n}


def due(view: View, protocol: Protocol, day: date, *, site: str | None = None) -> Due:
    """What is due as of a day.

    Args:
        protocol: whose rounds, visits after events, hands and minutes hold.
        day: what was noted of later days is not looked at.
        site: only the plots of that site.
    """
    plots = {id_: said for id_, said in view.things("plot").items() if site in (None, said.get("site"))}
    gathered = _Gathered(view, protocol, day, plots, site is None)
    events = sorted(gathered.events, key=lambda event: (event.since, event.id), reverse=True)
    names, sites = names_of(view, "plot"), names_of(view, "site")
    found = [_plot(gathered, id_, said, names[id_], sites) for id_, said in plots.items()]
    followed = [plot for plot in found if plot.is_followed]
    return Due(
        day,
        tuple(sorted(found, key=_pressing)),
        tuple(events),
        len(followed),
        len(found) - len(followed),
        sum(gathered.cohorts[plot.id][None] for plot in followed),
    )


def _plot(gathered: _Gathered, id_: str, said: Mapping[str, Any], called: str, sites: Mapping[str, str]) -> PlotDue:
    site = str(said.get("site", ""))
    is_followed = said.get("followed") != "no"
    visits = gathered.visits(id_, site) if is_followed else []
    in_need = tuple(gathered.in_need[id_])
    hands = Counter(need.hand for coral in in_need for need in coral.needs)
    is_visited = any(visit.state != "coming" for visit in visits)
    corals = sum(gathered.cohorts[id_].values())
    takes = None
    if is_visited or in_need:
        paces, effort = gathered.paces(id_), gathered.protocol.effort or USUAL
        takes = minutes_for(corals=corals, is_visited=is_visited, hands=_given(hands), paces=paces, effort=effort)
    return PlotDue(
        id_,
        called,
        site,
        sites.get(site, ""),
        is_followed,
        corals,
        frozenset(gathered.genotypes[id_]),
        tuple(visits),
        in_need,
        max(gathered.visited[id_], default=None),
        takes,
        {name: str(said[name]) for name in _PLACE if said.get(name)},
    )


def _given(hands: Mapping[str, int]) -> int:
    """How many hands there are to give; to go last is none."""
    return sum(n for hand, n in hands.items() if hand in DONE)


def _pressing(plot: PlotDue) -> tuple[Any, ...]:
    if plot.job:
        return 0, plot.job.rank
    opens = plot.coming.window.opens if plot.coming else date.max
    return 1, (opens, in_order(plot.called), plot.id)


@dataclass
class _Gathered:
    """Everything that is looked up once for all plots."""

    view: View
    protocol: Protocol
    day: date
    plots: Mapping[str, Mapping[str, Any]]
    _is_everywhere: bool
    cohorts: dict[str, Counter[date | None]] = field(default_factory=lambda: defaultdict(Counter))
    """By plot, how many corals to look for were planted on each day."""
    genotypes: dict[str, set[str]] = field(default_factory=lambda: defaultdict(set))
    in_need: dict[str, list[CoralNeeds]] = field(default_factory=lambda: defaultdict(list))
    visited: dict[str, set[date]] = field(default_factory=lambda: defaultdict(set))

    def __post_init__(self) -> None:
        self.events: list[Event] = []
        self._events_at: dict[str, list[Event]] = defaultdict(list)
        for event, sites in _events(self.view):
            self.events.append(event)
            for site in sites:
                self._events_at[site].append(event)
        self._read: dict[str, list[tuple[str, str, int]]] = defaultdict(list)
        """By plot, its sessions: day, id, rows looked at."""
        self._gather_corals()
        self._gather_groups()
        self._gather_visits()
        self._pace = self._paces_of_sessions()

    def visits(self, plot: str, site: str) -> list[Visit]:
        days, visited = self.cohorts[plot].keys() - {None}, self.visited[plot]
        found = [
            visit
            for planted in days
            for visit in waited_for(by_age(planted, self.protocol.rounds), visited, self.day)  # type: ignore[arg-type]
        ]
        for event in self._events_at[site]:
            if any(planted <= event.since for planted in days):  # type: ignore[operator]
                windows = after(event, self.protocol.event_visits)
                found += [visit for window in windows for visit in waited_for([window], visited, self.day)]
        return sorted(found, key=_when)

    def paces(self, plot: str) -> list[float]:
        """Minutes a row of the plot's newest sessions that tell."""
        told = [self._pace[session] for _, session, _ in sorted(self._read[plot], reverse=True) if session in self._pace]
        return told[:SESSIONS_ASKED]

    @property
    def _until(self) -> str:
        return self.day.isoformat()

    def _gather_corals(self) -> None:
        seen, tended = self._seen(), self._tended()
        asks = asks_of(self.protocol)
        rows = self.view.rows(
            "SELECT id, plot, tag, position, genotype, planted_on FROM coral WHERE plot IN (SELECT value FROM json_each(?))"
            " AND (planted_on IS NULL OR planted_on <= ?) AND (withdrawn_on IS NULL OR withdrawn_on > ?)",
            list(self.plots),
            self._until,
            self._until,
        )
        for row in rows:
            mine = seen.get(row["id"], [])
            if not _is_to_be_looked_for(mine):
                continue
            self.cohorts[row["plot"]][day_of(row["planted_on"])] += 1
            self.genotypes[row["plot"]] |= {row["genotype"]} - {None}
            found = needs(mine, asks, [*tended[row["id"]], *tended[row["plot"]]]) if mine else []
            if found:
                called = str(row["tag"] or row["position"] or f"…{row['id'][-4:]}")
                self.in_need[row["plot"]].append(CoralNeeds(row["id"], called, tuple(found)))
        for in_need in self.in_need.values():
            in_need.sort(key=lambda coral: (in_order(coral.called), coral.coral))

    def _seen(self) -> dict[str, list[Seen]]:
        """By coral, what was settled of it, of its values those that can ask for a hand, in order of days.

        Most of it is never fetched: the newest visit of each coral, older ones that tell of a field that it does not tell of,
        and those of corals that were missing then.
        """
        asking = _Asking(self.protocol)
        there = "state IS NOT NULL AND day <= ?" + ("" if self._is_everywhere else f" AND unit IN {_NAMED}")
        given = (self._until,) if self._is_everywhere else (self._until, list(self.plots))
        # With max() alone, SQLite takes the other columns from the row that holds it (sqlite.org/lang_select.html, 2.5).
        newest = {
            row["coral"]: Seen(row["day"], row["state"], asking.told(row))
            for row in self.view.rows(
                f"SELECT coral, max(day) AS day, state, {asking.columns} AS said FROM seen WHERE {there} GROUP BY coral", *given
            )
        }
        wanted = [id_ for id_, seen in newest.items() if seen.state == "missing"]
        named = asking.naming(one.values for one in newest.values() if one.state == "alive")
        older = self.view.rows(
            f"SELECT coral, day, state, {asking.columns} AS said FROM seen WHERE {there}"
            f" AND (coral IN {_NAMED} OR state = 'alive' AND ({named})) ORDER BY day",
            *given,
            wanted,
        )
        found: dict[str, list[Seen]] = defaultdict(list)
        for row in older:
            if row["day"] < newest[row["coral"]].day:
                found[row["coral"]].append(Seen(row["day"], row["state"], asking.told(row)))
        for coral, seen in newest.items():
            found[coral].append(seen)
        return found

    def _tended(self) -> dict[str, list[Tended]]:
        """By coral, and by plot where all of it was meant."""
        found: dict[str, list[Tended]] = defaultdict(list)
        for entry, row in self.view.actions():
            to, done = entry.values.get("coral") or entry.values.get("plot"), entry.values.get("done")
            if isinstance(to, str) and row.day and row.day <= self._until and not row.set_aside and not row.session.is_practice:
                found[to] += [Tended(str(one), row.day) for one in (done if isinstance(done, list) else [done])]
        return found

    def _gather_groups(self) -> None:
        """What stands in counted plots: those not dead when they were counted last."""
        dead: dict[tuple[str, str], int] = {}
        for visit in self.view.counted_visits():
            if visit["day"] <= self._until and visit["said"]["numbers"] is not None:
                dead[visit["unit"], visit["genotype"]] = visit["said"]["numbers"][1]
        for group in self.view.counted():
            planted = day_of(group["planted_on"])
            left = group["planted"] - dead.get((group["unit"], group["genotype"]), 0)
            if group["unit"] in self.plots and left > 0 and (planted is None or planted <= self.day):
                self.cohorts[group["unit"]][planted] += left
                self.genotypes[group["unit"]].add(group["genotype"])

    def _gather_visits(self) -> None:
        there = "" if self._is_everywhere else f" AND unit IN {_NAMED}"
        rows = self.view.rows(
            "SELECT plot, session, day, n, passed_over FROM (SELECT unit AS plot, session, count(*) AS n,"
            f" sum(fate = 'not searched') AS passed_over FROM fate WHERE fate IN {_LOOKED}{there} GROUP BY 1, 2)"
            " JOIN session ON session.id = session WHERE day <= ? AND NOT set_aside",
            *([] if self._is_everywhere else [list(self.plots)]),
            self._until,
        )
        looked: dict[tuple[str, str], int] = Counter()
        for row in rows:
            if row["plot"] not in self.plots:  # what names no plot belongs to its session
                continue
            looked[row["plot"], row["day"]] += row["n"] - 2 * row["passed_over"]
            self._read[row["plot"]].append((row["day"], row["session"], row["n"] - row["passed_over"]))
        for (plot, told), balance in looked.items():
            day = day_of(told)
            if balance >= 0 and day is not None:
                self.visited[plot].add(day)

    def _paces_of_sessions(self) -> dict[str, float]:
        """Minutes a row, of each session that tells."""
        rows: Counter[str] = Counter()
        for sessions in self._read.values():
            for _, session, n in sessions:
                rows[session] += n
        minutes = self.protocol.with_role("minutes")
        found: dict[str, float | None] = {}
        for session, times in self._photo_times(rows).items():
            found[session] = pace_by_photos(times, rows[session])
        if minutes:
            names = (minutes.name, *minutes.was)
            for session, row in self.view.sessions(rows).items():
                noted = next((row.session.values[name] for name in names if name in row.session.values), None)
                if rows[session] and (known := number(noted)) is not None:
                    found[session] = pace_by_minutes(known, rows[session])
        return {session: pace for session, pace in found.items() if pace is not None}

    def _photo_times(self, sessions: Mapping[str, int]) -> dict[str, list[datetime]]:
        """Of each session, when each row with photos was photographed first, by the camera's own clock."""
        rows = self.view.rows(
            "SELECT unit, min(json_extract(said, '$.camera_time')) AS at FROM photo"
            " WHERE line <> '' AND unit IN (SELECT value FROM json_each(?)) GROUP BY unit, line",
            [session for session, n in sessions.items() if n],
        )
        found: dict[str, list[datetime]] = defaultdict(list)
        for row in rows:
            if (taken := time_of(row["at"])) is not None:
                found[row["unit"]].append(taken)
        return found


class _Asking:
    """Of what was settled of a coral, the values that can ask for a hand, under the names that their fields have now."""

    def __init__(self, protocol: Protocol) -> None:
        self._fields = [one for one in protocol.fields_of("coral") if any(choice.asks for choice in one.values)]
        self._names = [name for one in self._fields for name in (one.name, *one.was)]
        self._now = Renaming(self._fields)
        self._told: dict[str, Mapping[str, Any]] = {}  # most corals are well, and most rows say so in the same words

    @property
    def columns(self) -> str:
        """SQL that gives the values of a row of `seen`, a JSON array; nothing of one that is not alive."""
        # Two paths of nothing make it an array, also where one field asks or none.
        paths = ", ".join([*(f"'$.values.{name}'" for name in self._names), "'$.nothing'", "'$.nothing'"])
        return f"CASE state WHEN 'alive' THEN json_extract(said, {paths}) END"

    def told(self, row: Mapping[str, Any]) -> Mapping[str, Any]:
        values = row["said"]
        if values is None:
            return {}
        if values not in self._told:
            said = dict(zip(self._names, json.loads(values), strict=False))
            self._told[values] = self._now({name: value for name, value in said.items() if value is not None})
        return self._told[values]

    def naming(self, told: Iterable[Mapping[str, Any]]) -> str:
        """SQL for the rows that may tell of a field of which one of these tells nothing."""
        lacking = {one.name for said in told for one in self._fields if one.name not in said}
        names = [name for one in self._fields if one.name in lacking for name in (one.name, *one.was)]
        return " OR ".join(f"""instr(said, '"{name}"')""" for name in names) or "0"


def _events(view: View) -> list[tuple[Event, list[str]]]:
    """The events that say when they began, each with its sites."""
    found = []
    for id_, said in view.things("event").items():
        since, sites = day_of(said.get("from")), said.get("sites")
        if since is not None:
            where = [one for one in sites if isinstance(one, str)] if isinstance(sites, list) else []
            found.append((Event(id_, str(said.get("what", "other")), since, day_of(said.get("until"))), where))
    return found


def _is_to_be_looked_for(seen: Sequence[Seen]) -> bool:
    """As slates have it: not what was dead when seen last, nor what was looked for in vain so many times."""
    states = [one.state for one in seen]
    return states[-1:] != ["dead"] and states[-SEARCHES_KEPT:] != ["missing"] * SEARCHES_KEPT


def _when(visit: Visit) -> tuple[int, date]:
    return {"due": (0, visit.window.closes), "overdue": (1, visit.window.closes), "coming": (2, visit.window.opens)}[
        visit.state
    ]
