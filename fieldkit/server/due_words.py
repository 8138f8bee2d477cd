"""What is due in the reader's words: visits, windows, hands, what to carry, how to find a plot. Pure."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from fieldkit.due import CoralNeeds, DayPlan, Event, Need, PlotDue, Visit, Window
from fieldkit.due.waypoints import Waypoint, as_gpx, waypoint
from fieldkit.protocol import Protocol
from fieldkit.protocol.protocol import HANDS
from fieldkit.server.names import Names

CARRIED = ("slates", *HANDS)
"""What a trip can need, in the order in which it is packed."""


@dataclass(frozen=True)
class DueWords:
    """The words for one reader of one programme."""

    names: Names
    protocol: Protocol
    _said: dict[Any, str] = field(default_factory=dict)
    """What was written already: two hundred plots share few days, and Babel takes its time for each."""

    def day(self, day: date | str | None) -> str:
        """12 Nov 2026."""
        return self._once(("day", day), lambda: self.names.reader.day(day))

    def label(self, window: Window) -> str:
        """What a visit is called."""
        language = self.names.reader.language
        return window.label.get(language) or window.label.get("en") or next(iter(window.label.values()), "")

    def span(self, window: Window) -> str:
        """From when to when: 29 Sep – 28 Dec 2026."""
        days = (window.opens, window.closes)
        return self._once(days, lambda: self._t("due.window", opens=self.day(days[0]), closes=self.day(days[1])))

    def state(self, visit: Visit) -> str:
        """How much time is left, or how long ago the window closed."""
        return self._once((visit.state, visit.days), lambda: self._state(visit))

    def hand(self, hand: str) -> str:
        """What is asked for: reattach, clean …"""
        return self._t(f"due.hand_{hand}")

    def hands(self, plot: PlotDue) -> str:
        """How many corals of a plot need each hand."""
        hands = plot.hands
        return ", ".join(self._t(f"due.n_{hand}", n=hands[hand]) for hand in HANDS if hands[hand])

    def noted(self, need: Need) -> str:
        """What was noted that asks for it."""
        return self.names.reader.list(
            [f"{self.names.field(name)}: {self.names.value(name, value)}" for name, value in need.noted]
        )

    def carried(self, what: Mapping[str, int]) -> list[str]:
        """What to take along."""
        return [self._t(f"due.carry_{name}", n=what[name]) for name in CARRIED if what.get(name)]

    def place(self, plot: PlotDue) -> str:
        """How a plot is found: 12 m at 190° from the mooring; steel pin; 4 m deep."""
        said, parts = plot.place, []
        landmark = said.get("landmark", "")
        if said.get("bearing_deg") and said.get("distance_m"):
            told = {"distance": said["distance_m"], "bearing": said["bearing_deg"]}
            parts.append(self._t("due.from_landmark", landmark=landmark, **told) if landmark else self._t("due.at", **told))
        elif landmark:
            parts.append(landmark)
        if said.get("marker"):
            parts.append(said["marker"])
        if said.get("depth_m"):
            parts.append(self._t("due.deep", depth=said["depth_m"]))
        return "; ".join(parts)

    def event(self, event: Event) -> str:
        """A storm or heat wave with its days."""
        reader, what = self.names.reader, self._t(f"due.event_{event.what}")
        if event.until is None:
            return self._t("due.event_since", what=what, since=reader.day(event.since))
        return self._t("due.event_from_until", what=what, since=reader.day(event.since), until=reader.day(event.until))

    def work(self, plot: PlotDue) -> str:
        """What is to be done at a plot, in one line."""
        parts = [self.label(plot.visit.window)] if plot.visit else []
        for coral in plot.corals_in_need:
            parts.append(self.coral(coral))
        return "; ".join(parts)

    def coral(self, coral: CoralNeeds) -> str:
        """A coral and the hands that it needs."""
        return f"{coral.called}: {', '.join(self.hand(need.hand) for need in coral.needs)}"

    def gpx(self, plan: DayPlan, plots: Mapping[str, PlotDue], sites: Mapping[str, Mapping[str, Any]], day: date) -> bytes:
        """The sites of a plan as waypoints, each with the plots worked there and how they are found."""
        points = (self._waypoint(site, jobs, plots, sites.get(site, {})) for site, jobs in _by_site(plan))
        title = self._t("due.plan_title", day=self.names.reader.day(day))
        return as_gpx(title, self._t("due.not_dives"), [point for point in points if point])

    def _waypoint(
        self, site: str, jobs: Iterable[str], plots: Mapping[str, PlotDue], said: Mapping[str, Any]
    ) -> Waypoint | None:
        lines = []
        for id_ in jobs:
            plot = plots[id_]
            lines.append(": ".join(filter(None, (plot.called, self.place(plot)))))
        name = str(said.get("name") or said.get("code") or site)
        return waypoint(name, said.get("latitude"), said.get("longitude"), "\n".join(lines))

    def _state(self, visit: Visit) -> str:
        if visit.state == "coming":
            return self._t("due.opens_in", n=visit.days)
        if visit.state == "overdue":
            return self._t("due.closed_ago", n=-visit.days)
        return self._t("due.last_day") if visit.days == 0 else self._t("due.closes_in", n=visit.days)

    def _once(self, key: Any, write: Callable[[], str]) -> str:
        if key not in self._said:
            self._said[key] = write()
        return self._said[key]

    def _t(self, key: str, /, **data: Any) -> str:
        return self.names.reader.text(key, **data)


def _by_site(plan: DayPlan) -> list[tuple[str, list[str]]]:
    """The sites in the order of the day, each with its plots."""
    found: dict[str, list[str]] = {}
    for dive in plan.dives:
        found.setdefault(dive.site, []).extend(job.plot for job in dive.jobs)
    return list(found.items())
