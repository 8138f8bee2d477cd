"""What was seen of a coral, turned into the interval in which it died.

A coral is looked at now and then, so its death is known only to lie after the last day it was seen alive and by the first
day it was found dead. With *o* the planting day, *a* the last day seen alive (*o* counts), *d* the first day found dead on
or after *a*, *m* the first day missing after *a*, ages in whole days since *o*:

    found dead             (a, d]     whether missing counts as lost or is left open
    missing, never found   (a, m]     where missing counts as lost; (a, inf) where it is left open
    neither                (a, inf)

Everything else follows from these three lines. A coral missing and seen alive later was never missing, since *m* lies after
*a*; one missing and then found as a skeleton was not lost when it was missing but died by *d*; "dead, then alive" moves *a*
on and is reported, for a person to settle. What cannot be (seen before it was planted, after it was taken away) counts
nowhere and is reported too. The order in which sightings are given plays no part. Opens nothing, asks no clock.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

from fieldkit.protocol import Round

State = Literal["alive", "dead", "missing"]
Fate = Literal["alive", "dead", "missing", "withdrawn", "not_seen"]
LeftOut = Literal["no_planting_day", "planted_later", "known_later"]
FindingKind = Literal[
    "alive_after_dead", "dead_on_planting_day", "missing_on_planting_day", "before_planting", "after_withdrawal"
]


@dataclass(frozen=True, slots=True)
class Sighting:
    """The settled state of one coral at one visit: alive on its latest agreeing day, dead or missing on their earliest."""

    day: date
    state: State


@dataclass(frozen=True, slots=True)
class Interval:
    """Death after age `left` and by age `right`, in days; `right` None: never found dead; equal: died at that very age."""

    left: int
    right: int | None


@dataclass(frozen=True, slots=True, order=True)
class Finding:
    """Something that cannot be, and the days that it is about, in order. Each is a matter of its own for a person to settle."""

    days: tuple[date, ...]
    kind: FindingKind


@dataclass(frozen=True, slots=True)
class History:
    """What is known of the life of one coral.

    Attributes:
        lost: when it died, missing counted as lost; None without a planting day, or where it was planted, or came to be
            followed, after the as-of day only.
        open: when it died, missing left open. Its left end is always that of `lost`.
        left_out: why the coral stands outside the interval-censored estimate. "known_later" has both intervals all the same,
            for an estimate that can let corals enter late.
        entry: the age from which it is known, in days; 0 but for "known_later". Equal to the end of its interval where it
            was at risk for no time at all.
        findings: what cannot be, by day.
        fate: one word a coral, so that the fates of all corals add up to the number planted. It goes with the intervals:
            "dead" where found dead (a skeleton that vanishes stays dead), else "missing" where missing since it was last
            seen alive, else "withdrawn", else "alive" where seen alive at all, else "not_seen" (planted, and no more).
    """

    lost: Interval | None
    open: Interval | None
    left_out: LeftOut | None
    entry: int
    findings: tuple[Finding, ...]
    fate: Fate


# From the ages at which a coral was alive, and that at which it was first gone (None: never), to (left, right).
_Clock = Callable[[list[int], int | None], tuple[int, int | None]]


def history(
    planted_on: date | None,
    sightings: Iterable[Sighting],
    *,
    withdrawn_on: date | None = None,
    known_from: date | None = None,
    as_of: date | None = None,
) -> History:
    """The history of one coral, every sighting at its true age.

    Args:
        planted_on: the outplanting day; None where unknown.
        sightings: one a visit, in any order.
        withdrawn_on: the day it left the study (moved, harvested, plot closed). What was seen on that day still counts:
            a plot is often searched a last time and closed on one dive.
        known_from: the day from which it was followed, where that is after the planting. It counts as seen alive on that
            day: a coral that was dead by then never came to be followed.
        as_of: what was seen or happened after this day is not looked at.
    """
    return _history(planted_on, sightings, _true_ages, withdrawn_on, known_from, as_of)


def by_round(
    planted_on: date | None,
    sightings: Iterable[Sighting],
    rounds: Sequence[Round],
    *,
    withdrawn_on: date | None = None,
    known_from: date | None = None,
    as_of: date | None = None,
) -> History:
    """The history of one coral, sightings within a round's window at the round's nominal age, the others at their true age.

    Reports date what they found by the round, however many weeks of boat days it took; figures by round compare with them.
    Alive and gone within one window: alive up to the round before, gone at this one. The other arguments: see `history`.
    """
    return _history(planted_on, sightings, _RoundClock(rounds), withdrawn_on, known_from, as_of)


def _true_ages(alive: list[int], gone: int | None) -> tuple[int, int | None]:
    return max(alive), gone


class _RoundClock:
    """Ages as rounds tell them. Windows do not overlap, so ages keep their order."""

    def __init__(self, rounds: Iterable[Round]) -> None:
        self._rounds = tuple(rounds)

    def __call__(self, alive: list[int], gone: int | None) -> tuple[int, int | None]:
        left = max(map(self._told, alive))
        home = None if gone is None else self._round(gone)
        if home is None:
            return left, gone
        if left == home.age_days:
            # One round has one answer, the last: gone. That it was seen alive in the same window says only that it lived
            # through the round before, or through a sighting between the two windows.
            before = (self._told(age) for age in alive if self._round(age) is not home)
            rounds_before = (planned.age_days for planned in self._rounds if planned.age_days < home.age_days)
            left = max((*before, *rounds_before), default=0)
        return left, home.age_days

    def _told(self, age: int) -> int:
        planned = self._round(age)
        return age if planned is None else planned.age_days

    def _round(self, age: int) -> Round | None:
        # Age 0 is the planting, known to the day: a window that reaches back to it must not make it later.
        return next((planned for planned in self._rounds if planned.holds(age)), None) if age else None


@dataclass(slots=True)
class _Seen:
    """Days on which a coral was seen, by what they are good for."""

    alive: list[date] = field(default_factory=list)
    dead: list[date] = field(default_factory=list)
    missing: list[date] = field(default_factory=list)
    before_planting: set[date] = field(default_factory=set)
    after_withdrawal: set[date] = field(default_factory=set)


def _history(
    planted_on: date | None,
    sightings: Iterable[Sighting],
    clock: _Clock,
    withdrawn_on: date | None,
    known_from: date | None,
    as_of: date | None,
) -> History:
    first, horizon = planted_on or date.min, as_of or date.max
    withdrawn = withdrawn_on if withdrawn_on and first <= withdrawn_on <= horizon else None
    start = known_from if known_from and first < known_from <= horizon else first
    seen = _sort_out(sightings, first, withdrawn or horizon, horizon)
    # A slip in a day of the register must not strike out what was seen of the coral: it is told like a sighting.
    if withdrawn_on and withdrawn_on < first and withdrawn_on <= horizon:
        seen.before_planting.add(withdrawn_on)
    if withdrawn and withdrawn < start:
        seen.after_withdrawal.add(start)

    alive = [*seen.alive, start]
    found, gone = _end(seen, max(alive))
    findings = _findings(planted_on, seen, [day for day in alive if day > first])
    fate = _fate(seen, found, gone, withdrawn)
    if planted_on is None:
        return History(None, None, "no_planting_day", 0, findings, fate)
    if planted_on > horizon:
        return History(None, None, "planted_later", 0, findings, fate)
    if known_from and known_from > horizon:
        return History(None, None, "known_later", 0, findings, fate)

    left, right = clock([(day - first).days for day in alive], (gone - first).days if gone else None)
    entry = clock([(start - first).days], None)[0] if start > first else 0
    lost = Interval(max(left, entry), right)
    still_open = lost if found else Interval(lost.left, None)
    return History(lost, still_open, "known_later" if start > first else None, entry, findings, fate)


def _sort_out(sightings: Iterable[Sighting], first: date, last: date, horizon: date) -> _Seen:
    seen = _Seen()
    by_state = {"alive": seen.alive, "dead": seen.dead, "missing": seen.missing}
    for sighting in sightings:
        day = sighting.day
        if first <= day <= last:
            by_state[sighting.state].append(day)
        elif day < first and day <= horizon:
            seen.before_planting.add(day)
        elif day <= horizon:
            seen.after_withdrawal.add(day)
    return seen


def _end(seen: _Seen, last_alive: date) -> tuple[date | None, date | None]:
    """The day it was found dead, and the day from which it was gone: that day, or else the first it was missing."""
    # Dead on the very day it was last seen alive: died that day, exactly. For the planting day that is the rule; for a later
    # day it is the only history in which both sightings are right. Missing on that day yields to alive.
    found = min((day for day in seen.dead if day >= last_alive), default=None)
    return found, found or min((day for day in seen.missing if day > last_alive), default=None)


def _fate(seen: _Seen, found: date | None, gone: date | None, withdrawn: date | None) -> Fate:
    if gone:
        return "dead" if found else "missing"
    if withdrawn:
        return "withdrawn"
    return "alive" if seen.alive else "not_seen"


def _findings(planted_on: date | None, seen: _Seen, alive_later: list[date]) -> tuple[Finding, ...]:
    """What cannot be. Where one sighting is two findings (dead on the planting day, alive later), it is only the wider one."""
    found = [Finding((day,), "before_planting") for day in seen.before_planting]
    found += [Finding((day,), "after_withdrawal") for day in seen.after_withdrawal]
    if planted_on in seen.missing:
        found.append(Finding((planted_on,), "missing_on_planting_day"))
    if planted_on in seen.dead and not alive_later:
        found.append(Finding((planted_on,), "dead_on_planting_day"))
    if seen.dead:
        found += _alive_after_dead(alive_later, seen.dead)
    return tuple(sorted(found))


def _alive_after_dead(alive: Iterable[date], dead: Iterable[date]) -> list[Finding]:
    """One finding for each return to life: the days found dead since the last one, and the first day alive again.

    Later days alive are left out of it, so that a ruling on it stands when the coral is next seen.
    """
    found = []
    waiting = sorted(set(dead))
    for day in sorted(set(alive)):
        run = [other for other in waiting if other <= day]
        if run:
            found.append(Finding(tuple(sorted({*run, day})), "alive_after_dead"))
            waiting = waiting[len(run) :]
    return found
