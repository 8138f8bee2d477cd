"""Which plots to work on a day of so many dives and minutes, and in which order. Pure. It plans work, not dives.

Plots come into the day one after the other, the most pressing first, as long as they fit: windows that are open, the first to
close first; then overdue visits, the longest first; then corals that need a hand, the most first. What is overdue has lost its
window already and loses no more by a day; what closes tomorrow does. A dive stays at one site. Within a site healthy plots
stand before those with signs of disease, strictly; sites without such plots come first. Where a plot with signs is followed
by one without all the same, at the next site, gear and tools are to be cleaned between, and the plan says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import Literal, TypeAlias

from fieldkit.due.schedule import Visit

Why: TypeAlias = Literal["too_long", "no_room"]


@dataclass(frozen=True, slots=True)
class Job:
    """A plot with something to do: the visit that presses most (None: only hands are needed), how many hands, how long."""

    plot: str
    called: str
    site: str
    visit: Visit | None
    hands: int
    is_diseased: bool
    minutes: int

    @property
    def rank(self) -> tuple[int, date, int, str, str]:
        """The smaller, the more it presses."""
        if self.visit is None:
            return 2, date.min, -self.hands, self.called, self.plot
        return int(self.visit.state != "due"), self.visit.window.closes, -self.hands, self.called, self.plot


@dataclass(frozen=True, slots=True)
class Dive:
    """The work of one dive, in order."""

    site: str
    jobs: tuple[Job, ...]

    @property
    def minutes(self) -> int:
        return sum(job.minutes for job in self.jobs)


@dataclass(frozen=True, slots=True)
class DayPlan:
    """The dives in order, and what did not come into the day and why: too long for one dive, or no room left."""

    dives: tuple[Dive, ...]
    left: tuple[tuple[Job, Why], ...]

    @property
    def jobs(self) -> list[Job]:
        return [job for dive in self.dives for job in dive.jobs]

    @property
    def clean_before(self) -> frozenset[str]:
        """Plots without signs of disease that come after one with them: gear and tools are to be cleaned before."""
        jobs = self.jobs
        return frozenset(job.plot for before, job in pairwise(jobs) if before.is_diseased and not job.is_diseased)


def day_plan(jobs: Iterable[Job], *, dives: int, minutes: int) -> DayPlan:
    """The plan of a day.

    Args:
        dives: how many, from 1.
        minutes: of work at the plots in each, from 1. How long a dive may be is not decided here.
    """
    taken: dict[str, list[Job]] = {}
    packed: dict[str, list[list[Job]]] = {}
    left: list[tuple[Job, Why]] = []
    for job in sorted(jobs, key=lambda job: job.rank):
        if job.minutes > minutes:
            left.append((job, "too_long"))
            continue
        mine = [*taken.get(job.site, ()), job]
        fit = _dives_at_a_site(mine, minutes)
        others = sum(len(there) for site, there in packed.items() if site != job.site)
        if others + len(fit) > dives:
            left.append((job, "no_room"))
        else:
            taken[job.site], packed[job.site] = mine, fit
    order = sorted(taken, key=lambda site: (any(job.is_diseased for job in taken[site]), min(job.rank for job in taken[site])))
    return DayPlan(tuple(Dive(site, tuple(dive)) for site in order for dive in packed[site]), tuple(left))


def _dives_at_a_site(jobs: Sequence[Job], minutes: int) -> list[list[Job]]:
    """Each plot into the first dive with room; those with signs of disease only where no healthy one comes after them."""
    found: list[list[Job]] = []
    first = 0
    for is_diseased in (False, True):
        first = max(0, len(found) - 1) if is_diseased else 0
        for job in (job for job in jobs if job.is_diseased == is_diseased):
            room = next((dive for dive in found[first:] if sum(one.minutes for one in dive) + job.minutes <= minutes), None)
            if room is None:
                found.append([job])
            else:
                room.append(job)
    return found
