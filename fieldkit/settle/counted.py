"""A plot that is counted, not tagged ("8 of 10 of this genotype alive"), turned into the same intervals, with weights.

A count does not say which coral it speaks of, so it tells less than tags do: one coral lost while a missing one comes back
looks like no change at all. Two rules make of it what can be made, and the weights always add up to the number planted.

*Alive never rises.* Those alive at a later count were alive before, seen or not: an earlier count is raised to the later
(running maximum from the end). What it falls by between two counts was lost between them.

*Dead never falls.* A skeleton once counted may vanish: the running maximum holds. What it rises by was found dead; the rest
of the loss is missing, and left open it is censored at the last count before it. Opens nothing, asks no clock.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate, groupby, pairwise
from math import inf
from typing import Literal, NamedTuple

CountFindingKind = Literal[
    "alive_rises",
    "more_alive_than_planted",
    "more_than_planted",
    "before_planting",
    "missing_on_planting_day",
    "dead_on_planting_day",
]

_Ends = tuple[int, int | None]


@dataclass(frozen=True, slots=True)
class Count:
    """What one visit counted of one group planted on one day, at `age` days; numbers >= 0, the parts already added up."""

    age: int
    alive: int
    dead: int
    missing: int


@dataclass(frozen=True, slots=True)
class Weighted:
    """`weight` corals died after age `left` and by `right`, in days. `right` None: never found dead; equal: exactly then."""

    left: int
    right: int | None
    weight: int


@dataclass(frozen=True, slots=True, order=True)
class CountFinding:
    """Something that cannot be, and the ages of the counts that it is about, in order. Each is a matter of its own."""

    ages: tuple[int, ...]
    kind: CountFindingKind


@dataclass(frozen=True, slots=True)
class CountedHistory:
    """What is known of one counted group; both tuples are sorted, without zero weights, and add up to the number planted."""

    lost: tuple[Weighted, ...]
    open: tuple[Weighted, ...]
    findings: tuple[CountFinding, ...]


def counted_history(planted: int, counts: Iterable[Count]) -> CountedHistory:
    """The intervals of one group of a counted plot.

    Args:
        planted: how many were planted, >= 0, on one day: a plot of two planting days is taken per day.
        counts: what its visits counted, in any order.
    """
    given = sorted(counts, key=lambda count: count.age)
    visits = [_visit(age, planted, list(same)) for age, same in groupby(given, key=lambda count: count.age) if age >= 0]
    ages = [visit.age for visit in visits]
    alive = _running_maximum([visit.alive for visit in visits][::-1])[::-1]
    # Skeletons of corals that are alive cannot be: the living are believed, as in a history that is alive after dead.
    dead = _running_maximum([min(visit.dead, planted - living) for visit, living in zip(visits, alive, strict=True)])

    spans = list(pairwise([0, *ages]))
    losses = [before - after for before, after in pairwise([planted, *alive])]
    rises = [after - before for before, after in pairwise([0, *dead])]
    still_alive = Counter[_Ends]({(ages[-1] if ages else 0, None): alive[-1] if alive else planted})
    return CountedHistory(
        lost=_weighted(still_alive + Counter(dict(zip(spans, losses, strict=True)))),
        open=_weighted(still_alive + _found_dead(spans, losses, rises)),
        findings=tuple(sorted({*_of_one_count(planted, given), *_of_rising(visits)})),
    )


class _Visit(NamedTuple):
    age: int
    alive: int
    dead: int


def _visit(age: int, planted: int, counts: Sequence[Count]) -> _Visit:
    """What one day tells. Of two counts of a day alive holds over dead, and dead over missing, as in a history."""
    alive = min(max(count.alive for count in counts), planted)
    dead = max(count.dead for count in counts)
    if age == 0:
        alive = max(alive, planted - dead)  # missing is no state of the planting day: they had just been put there
    return _Visit(age, alive, dead)


def _running_maximum(numbers: Iterable[int]) -> list[int]:
    return list(accumulate(numbers, max))


def _found_dead(spans: Iterable[tuple[int, int]], losses: Iterable[int], rises: Iterable[int]) -> Counter[_Ends]:
    """Missing left open: deaths where the dead rise, the rest of each loss censored at the last count before it.

    Where more were newly found dead than were lost since the last count, missing corals were found: each died after the
    count before it went missing. Which of them, no count says; the latest to go missing are taken, since skeletons do not last.
    """
    found: Counter[_Ends] = Counter()
    missing: list[int] = []  # of each coral missing so far, the age of the last count that still had it
    for (before, age), lost, rise in zip(spans, losses, rises, strict=True):
        missing += [before] * lost
        found.update((missing.pop(), age) for _ in range(rise))
    found.update((left, None) for left in missing)
    return found


def _weighted(found: Counter[_Ends]) -> tuple[Weighted, ...]:
    by_ends = sorted(found.items(), key=lambda item: (item[0][0], inf if item[0][1] is None else item[0][1]))
    return tuple(Weighted(left, right, weight) for (left, right), weight in by_ends if weight)


def _of_one_count(planted: int, counts: Iterable[Count]) -> Iterator[CountFinding]:
    for count in counts:
        about = (count.age,)
        if count.age < 0:
            yield CountFinding(about, "before_planting")
        elif count.alive > planted:
            yield CountFinding(about, "more_alive_than_planted")
        elif count.alive + count.dead + count.missing > planted:
            yield CountFinding(about, "more_than_planted")
        if count.age == 0 and count.dead:
            yield CountFinding(about, "dead_on_planting_day")
        if count.age == 0 and count.alive + count.dead < planted:
            yield CountFinding(about, "missing_on_planting_day")


def _of_rising(visits: Sequence[_Visit]) -> Iterator[CountFinding]:
    """One finding for each count that raises others: those raised, and the one they are raised to."""
    raised: dict[int, list[int]] = defaultdict(list)
    highest = _Visit(0, 0, 0)
    for visit in reversed(visits):
        if visit.alive >= highest.alive:
            highest = visit
        else:
            raised[highest.age].append(visit.age)
    for age, lower in raised.items():
        yield CountFinding((*reversed(lower), age), "alive_rises")
