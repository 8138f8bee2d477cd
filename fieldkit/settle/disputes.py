"""What a coral's history is, and what it could become: disputes left open, answered the worst way, answered the best way.
Pure."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from fieldkit.settle.compare import Visit
from fieldkit.settle.histories import History, Sighting, State

WORST: tuple[State, ...] = ("dead", "missing", "alive")
BEST: tuple[State, ...] = ("alive", "missing", "dead")

HistoryOf = Callable[[Iterable[Sighting]], History]
"""The history that sightings give: of one coral, at true ages or by rounds, as of some day."""


@dataclass(frozen=True, slots=True)
class Histories:
    """A coral's history three times. All are the same where nothing is in dispute."""

    settled: History
    """A visit in dispute gives no state."""
    worst: History
    best: History


def histories(visits: Sequence[Visit], history_of: HistoryOf) -> Histories:
    """The history that these visits give, and the two that settling could lead to."""
    settled = history_of(sightings(visits))
    returned = any(finding.kind == "alive_after_dead" for finding in settled.findings)
    if not returned and not any(visit.is_disputed for visit in visits):
        return Histories(settled, settled, settled)
    worst = [answered(visit, WORST) for visit in visits]
    best = [answered(visit, BEST) for visit in visits]
    return Histories(settled, history_of(sightings(_until_dead(worst) if returned else worst)), history_of(sightings(best)))


def sightings(visits: Iterable[Visit]) -> list[Sighting]:
    """What the visits that are not in dispute tell."""
    return [Sighting(visit.days[visit.state], visit.state) for visit in visits if visit.state]


def answered(visit: Visit, order: Sequence[State]) -> Visit:
    """A visit in dispute, answered with the first of these states that anybody saw."""
    state = next((state for state in order if state in visit.days), None)
    return replace(visit, days={state: visit.days[state]}) if state else visit


def _until_dead(visits: Sequence[Visit]) -> list[Visit]:
    """The worst answer to "alive after dead": the death stands, and what was seen alive later was something else."""
    dead = min(visit.days["dead"] for visit in visits if visit.state == "dead")
    return [visit for visit in visits if visit.state != "alive" or visit.days["alive"] < dead]
