"""One coral: what its observations say together, visit by visit, the interval in which it died, and what cannot be. Pure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

from fieldkit.errors import Fault
from fieldkit.protocol import Protocol
from fieldkit.register.fold import Coral
from fieldkit.settle.calendar import day_of
from fieldkit.settle.compare import Visit, compare
from fieldkit.settle.disputes import HistoryOf, sightings, worst_and_best
from fieldkit.settle.growth import odd_growth
from fieldkit.settle.histories import Finding, FindingKind, History, State, history
from fieldkit.settle.matter import Matter, Rulings
from fieldkit.settle.questions import corrected_twice
from fieldkit.settle.reading import Reading, by_newest, newest
from fieldkit.settle.slates import Slates

NOT_COUNTED = ("settle.before_planting", "settle.after_withdrawal", "settle.missing_on_planting_day")
"""What gives no state: it cannot be, or is not of that day. So none of it can stand as it is."""

_ANSWERS: Mapping[FindingKind, tuple[str, ...]] = {
    "alive_after_dead": ("stands", "set_aside", "place"),
    "dead_on_planting_day": ("stands", "set_aside", "place"),
    "missing_on_planting_day": ("set_aside", "place"),
    "before_planting": ("set_aside", "place"),
    "after_withdrawal": ("set_aside", "place"),
}
_IN_REGISTER = {"before_planting": "withdrawn_before_planting", "after_withdrawal": "followed_after_withdrawal"}


@dataclass(frozen=True, slots=True)
class Life:
    """One coral: what the register says, what was seen, and the interval in which it died."""

    coral: Coral
    visits: tuple[Visit, ...]
    settled: History
    """Disputed visits give no state."""
    worst: History
    best: History
    """Every open dispute about its state answered the worst and the best way for survival."""
    is_disputed: bool
    cause: str | None = None
    """What killed it, as seen when it was first found dead; else None."""

    def seen(self, state: State) -> list[Visit]:
        """The visits that gave that state, in order of days."""
        return sorted((visit for visit in self.visits if visit.state == state), key=lambda visit: visit.days[state])


@dataclass(frozen=True, slots=True)
class Account:
    """A life, what became of each observation of it, and what is to be asked about them."""

    life: Life
    fates: Mapping[str, str]
    matters: tuple[Matter, ...]


def account(coral: Coral, readings: Sequence[Reading], rulings: Rulings, slates: Slates) -> Account:
    """All that can be said of one coral.

    Args:
        readings: its observations that say a state, of sessions with a visit; none of them moves any more.
    """
    readings, protocol = by_newest(readings), newest(readings)
    compared = [
        compare(coral.id, coral.plot or "", visit, rows, rulings, slates) for visit, rows in sorted(_by_visit(readings).items())
    ]
    life = _life(coral, tuple(one.visit for one in compared), protocol)
    growth, sizes = odd_growth(coral, life.seen("alive"), protocol, rulings)
    impossible = _history_matters(life, rulings)
    fates = {digest: fate for one in compared for digest, fate in one.fates.items()}
    fates |= {digest: "in a matter" for matter in impossible for digest in matter.of if _counts_nowhere(matter)}
    matters = (*(matter for one in compared for matter in one.matters), *growth, *impossible, *_contradictions(coral))
    return Account(_disputed(_resized(life, sizes, protocol), impossible), fates, matters)


def _by_visit(readings: Iterable[Reading]) -> dict[str, list[Reading]]:
    found: dict[str, list[Reading]] = defaultdict(list)
    for reading in readings:
        found[reading.dive.visit or ""].append(reading)
    return found


def _life(coral: Coral, visits: tuple[Visit, ...], protocol: Protocol | None) -> Life:
    settled = _history_of(coral)(sightings(visits))
    life = Life(coral, visits, settled, settled, settled, is_disputed=False)
    return replace(life, cause=_cause(life.seen("dead"), protocol))


def _history_of(coral: Coral) -> HistoryOf:
    planted_on, withdrawn_on, known_from = (
        day_of(coral.values.get(name)) for name in ("planted_on", "withdrawn_on", "known_from")
    )
    return partial(history, planted_on, withdrawn_on=withdrawn_on, known_from=known_from)


def _disputed(life: Life, impossible: Iterable[Matter]) -> Life:
    """The life with what settling could make of it, where anything about its state is open."""
    open_ = {matter.why.key for matter in impossible if matter.is_open}
    if not open_ and not any(visit.is_disputed for visit in life.visits):
        return life
    returned = "settle.alive_after_dead" in open_
    worst, best = worst_and_best(life.visits, _history_of(life.coral), returned=returned)
    return replace(life, worst=worst, best=best, is_disputed=True)


def _cause(dead: Sequence[Visit], protocol: Protocol | None) -> str | None:
    field = protocol.with_role("cause") if protocol else None
    cause = dead[0].values.get(field.name) if field and dead else None
    return cause if isinstance(cause, str) else None


def _resized(life: Life, sizes: Mapping[str, str], protocol: Protocol | None) -> Life:
    """The life with the sizes that rulings put in the place of what was noted."""
    field = protocol.with_role("size") if protocol and sizes else None
    if field is None:
        return life
    visits = (
        replace(visit, values={**visit.values, field.name: sizes[visit.visit]}) if visit.visit in sizes else visit
        for visit in life.visits
    )
    return replace(life, visits=tuple(visits))


def _history_matters(life: Life, rulings: Rulings) -> list[Matter]:
    """A matter for each thing that cannot be, over the observations of the days that it is about."""
    found: dict[str, Matter] = {}
    for finding in life.settled.findings:
        matter = rulings.asked_in_place(_history_matter(life, finding))
        found.setdefault(matter.id, matter)
    return list(found.values())


def _history_matter(life: Life, finding: Finding) -> Matter:
    seen = {d for visit in life.visits if visit.state and visit.days[visit.state] in finding.days for d in visit.digests}
    # Nothing was seen that day: a day in the register is wrong, and to be mended there.
    kind = finding.kind if seen else _IN_REGISTER[finding.kind]
    return Matter(
        "history",
        tuple(sorted(seen or life.coral.said_by)),
        Fault(f"settle.{kind}", {"days": ", ".join(map(str, finding.days))}),
        life.coral.plot or "",
        corals=(life.coral.id,),
        answers=_ANSWERS[finding.kind] if seen else (),
    )


def _counts_nowhere(matter: Matter) -> bool:
    """Alive after dead counts, and is named as unsettled; what is seen of a coral before it was planted does not."""
    return matter.why.key in NOT_COUNTED


def _contradictions(coral: Coral) -> list[Matter]:
    """What the register says of it in two ways: such a value is unknown until somebody replaces what was said."""
    return [corrected_twice(coral.said_by, coral.disputed, coral.plot or "")] if coral.disputed else []
