"""Which visit of a plot is due: windows by the age of its corals, and after storms and heat. Pure: the day is an argument.

A series is what follows one upon another: the rounds of the corals of one planting day, or one visit that an event opened. A
visit counts for every window that its day lies in. Of a series one visit at most is waited for: the one whose window opened
last. Where that window has closed and nobody was there since it opened, the visit is overdue until somebody goes, or until the
next window opens: a round that was missed is not made up for by a visit in another's window.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from fieldkit.protocol import EventVisit, Round

State = Literal["due", "overdue", "coming"]


@dataclass(frozen=True, slots=True)
class Window:
    """From when to when somebody should go, both days included.

    Attributes:
        label: what the visit is called, by language; a round has one name.
        since: the day from which it is counted: the planting day, or an event's first or last day.
        event: the event that opened it; None: it is due by age.
    """

    label: Mapping[str, str]
    since: date
    opens: date
    closes: date
    event: str | None = None

    def holds(self, day: date) -> bool:
        return self.opens <= day <= self.closes


@dataclass(frozen=True, slots=True)
class Visit:
    """A visit that is waited for or that comes next; `days` until its window closes (below 0: since it closed), or opens."""

    window: Window
    state: State
    days: int


@dataclass(frozen=True, slots=True)
class Event:
    """A storm, a heat wave …: what, and its first and last day; without a last day it goes on."""

    id: str
    what: str
    since: date
    until: date | None


def by_age(planted_on: date, rounds: Iterable[Round]) -> list[Window]:
    """The windows of corals planted on one day, in order."""
    windows = (
        Window({"": one.name}, planted_on, planted_on + timedelta(one.early_days), planted_on + timedelta(one.late_days))
        for one in rounds
    )
    return sorted(windows, key=lambda window: window.opens)


def after(event: Event, visits: Iterable[EventVisit]) -> list[Window]:
    """The windows that an event opens. Those counted from its end are not known while it goes on."""
    found = []
    for one in visits:
        since = event.since if one.since == "start" else event.until
        if one.event == event.what and since is not None:
            opens, closes = since + timedelta(one.opens_days), since + timedelta(one.closes_days)
            found.append(Window(one.label, since, opens, closes, event.id))
    return found


def waited_for(series: Sequence[Window], visited: Iterable[date], day: date) -> list[Visit]:
    """Of a series, the visit that is due or overdue, and the one that comes next.

    Args:
        series: its windows, in order of days.
        visited: the days on which somebody was there; what is after `day` is not looked at.
        day: the day as of which it is asked.
    """
    found = []
    opened = [window for window in series if window.opens <= day]
    if opened and not any(opened[-1].opens <= seen <= day for seen in visited):
        state: State = "due" if day <= opened[-1].closes else "overdue"
        found.append(Visit(opened[-1], state, (opened[-1].closes - day).days))
    if len(opened) < len(series):
        following = series[len(opened)]
        found.append(Visit(following, "coming", (following.opens - day).days))
    return found
