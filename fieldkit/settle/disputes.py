"""What the history of a coral could become: disputes left open, answered the worst way, answered the best way. Pure."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from fieldkit.settle.compare import Visit
from fieldkit.settle.histories import History, Sighting, State

WORST: tuple[State, ...] = ("dead", "missing", "alive")
BEST: tuple[State, ...] = ("alive", "missing", "dead")

HistoryOf = Callable[[Iterable[Sighting]], History]
"""The history that sightings give: of one coral, at true ages or by rounds, as of some day."""


def sightings(visits: Iterable[Visit]) -> list[Sighting]:
    """What the visits that are not in dispute tell."""
    return [Sighting(visit.days[visit.state], visit.state) for visit in visits if visit.state]


def worst_and_best(visits: Sequence[Visit], history_of: HistoryOf, *, returned: bool) -> tuple[History, History]:
    """The histories that settling could lead to at the worst and at the best; equal where it can change nothing.

    Args:
        returned: whether it is open what to make of a coral that was seen alive after it was found dead.
    """
    worst = [_answered(visit, WORST) for visit in visits]
    best = [_answered(visit, BEST) for visit in visits]
    return history_of(sightings(_until_dead(worst) if returned else worst)), history_of(sightings(best))


def _answered(visit: Visit, order: Sequence[State]) -> Visit:
    """A visit in dispute, answered with the first of these states that anybody saw."""
    state = next((state for state in order if state in visit.days), None)
    return replace(visit, days={state: visit.days[state]}) if state else visit


def _until_dead(visits: Sequence[Visit]) -> list[Visit]:
    """The worst answer to "alive after dead": the death stands, and what was seen alive later was something else."""
    dead = min(visit.days["dead"] for visit in visits if visit.state == "dead")
    return [visit for visit in visits if visit.state != "alive" or visit.days["alive"] < dead]
