"""The last boat day: two sites, four dives, three phones; what was truly there, and what was typed of it that evening.

Slates are first written as they should be, by tag where the diver read it. Then `flaws` spoils them, and this module mints what
is left. Device B's camera has its clock wrong all day.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any

from fieldkit.ledger import Entry
from sample.conditions import ALIVE
from sample.dives import Dive, clock_shot, shot_of, slate_of
from sample.founding import Protocols
from sample.programme import LAST_DAY, ROUNDS, SITES, Coral
from sample.slates import Row, Slate, Typed, typed
from sample.story import Story

LANTERN, PANDANUS = SITES[0], SITES[1]
LAST_ROUND = ROUNDS[-1]
CLOCK_OFF = {"b": timedelta(hours=-11, minutes=12, seconds=40)}  # the camera still keeps the time of another place, and badly
STILL_OUT = ("PAN", 11)  # the plot whose slate lies in the boat


def _dive(place: int, number: str, device: str, recorder: str, buddy: str, plots: tuple[int, ...]) -> Dive:
    start = {"1": (8, 30), "2": (10, 15), "3": (13, 30), "4": (15, 10)}[number]
    return Dive(SITES[place], LAST_ROUND, LAST_DAY, number, device, recorder, buddy, plots, start)


# A short name for each slate, so that the plan of flaws can be read.
DIVES: Mapping[str, Dive] = {
    "a1": _dive(0, "1", "a", "KT", "NL", (1, 2, 3)),
    "a2": _dive(0, "2", "a", "KT", "NL", (4, 5, 6)),
    "a3": _dive(1, "3", "a", "KT", "NL", (1, 2, 3)),
    "a4": _dive(1, "4", "a", "KT", "NL", (4, 5, 6)),
    "b1": _dive(0, "1", "b", "MO", "JV", (7, 8, 9)),
    "b2": _dive(0, "2", "b", "MO", "JV", (10, 11, 12)),
    "b3": _dive(1, "3", "b", "MO", "JV", (7, 8, 9)),
    "b4": _dive(1, "4", "b", "MO", "JV", (10, 12)),
    "c1": _dive(0, "1", "c", "RS", "EA", (2, 8)),
    "c2": _dive(0, "2", "c", "RS", "EA", (5,)),
    "c3": _dive(1, "3", "c", "RS", "EA", (2, 3)),
    "c4": _dive(1, "4", "c", "RS", "EA", (10,)),
    "c5": _dive(1, "4", "c", "JV", "MO", (12,)),
}
PICKED_FROM_LIST = ("a3", "c5")  # slates typed by picking the coral from the phone's list instead of typing its tag
PHOTOGRAPHED = {"a1": 2, "a2": 3, "a3": 5, "a4": 5, "b1": 2, "b2": 4, "b3": 6, "b4": 5, "c3": 6}  # every how many rows


@dataclass(eq=False)
class Flaw:
    """Something planted, and the truth about it.

    Attributes:
        matter: the kind of matter that should come of it; None where it should come to light otherwise or not at all.
        rows, slates, entries: what it is in: rows and sessions of the boat day, entries of the past.
        answer: the ruling that a lead who knew the truth would give. A row in it stands for its observation.
        says: what happened, for people.
    """

    kind: str
    matter: str | None
    says: str
    rows: tuple[Row, ...] = ()
    slates: tuple[Slate, ...] = ()
    entries: tuple[Entry, ...] = ()
    answer: Mapping[str, Any] | None = None
    corals: tuple[Coral, ...] = ()


@dataclass
class BoatDay:
    """The day's slates by short name as they will be typed, and what was done to them."""

    slates: dict[str, Slate]
    truth: dict[Row, str]
    """The true state of each coral on that day, by row, fixed before anything was spoilt."""
    flaws: list[Flaw] = field(default_factory=list)
    withheld: set[str] = field(default_factory=set)
    """Digests of photos that are named but did not come along."""

    def rows(self, *names: str) -> Iterator[Row]:
        for name in names:
            yield from self.slates[name].rows


def honest(story: Story, protocols: Protocols) -> BoatDay:
    """The day as it was, written down without a slip, with photos."""
    slates = {}
    for name, dive in DIVES.items():
        slates[name] = slate_of(dive, story, protocols)
        if name not in PICKED_FROM_LIST:
            for row in slates[name].rows:
                _note_by_tag(row, story)
        if name in PHOTOGRAPHED:
            _photograph(name, slates[name], story)
    return BoatDay(slates, {row: row.values["status"] for slate in slates.values() for row in slate.rows if row.coral})


def photograph(name: str, slate: Slate, row: Row, story: Story) -> None:
    """Give the row a photo, if it has none: taken at its turn in the dive, the plate as it hangs there."""
    if not row.shots and row.coral is not None:
        dive = DIVES[name]
        off = CLOCK_OFF.get(dive.device, timedelta(0))
        minute = slate.rows.index(row)
        row.shots.append(shot_of(dive, row, minute=minute, clock_off=off, plate=story.tag(row.coral)))


def type_all(day: BoatDay) -> dict[str, Typed]:
    """The slates as sessions, by short name."""
    return {name: typed(slate) for name, slate in day.slates.items()}


def _note_by_tag(row: Row, story: Story) -> None:
    if row.coral is not None and (tag := story.tag(row.coral)) is not None:
        row.values = {name: value for name, value in row.values.items() if name != "coral"} | {"tag": tag}


def _photograph(name: str, slate: Slate, story: Story) -> None:
    slate.shots.append(clock_shot(DIVES[name], clock_off=CLOCK_OFF.get(DIVES[name].device, timedelta(0))))
    every = PHOTOGRAPHED[name]
    for row in [row for row in slate.rows if row.coral and row.values["status"] == ALIVE][::every]:
        photograph(name, slate, row, story)
