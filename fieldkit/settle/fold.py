"""What is agreed about the corals of some plots: from standing observations and rulings to states, fates, matters and histories.

Pure, and whole: given the observations, corals and rulings of plots that nothing ties to others, it gives all that can be said of
them, in any order of input. The base calls it for the plots that new entries touch, or for all of them; both give the same rows.

Every observation gets one fate (`FATES`), so that the counts add up.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from functools import partial
from typing import Any

from fieldkit.errors import Fault
from fieldkit.ledger import Entry
from fieldkit.protocol import Protocol
from fieldkit.register.fold import Coral, Group
from fieldkit.settle.calendar import Dive, day_of
from fieldkit.settle.compare import Visit, compare
from fieldkit.settle.counting import CountedGroup, settle_group
from fieldkit.settle.disputes import histories
from fieldkit.settle.growth import odd_growth
from fieldkit.settle.histories import History, State, history
from fieldkit.settle.matter import Matter, Rulings
from fieldkit.settle.place import Plots, place
from fieldkit.settle.reading import Reading, read

FATES = (
    "counted",
    "agrees with a counted one",
    "in a matter",
    "overruled",
    "set aside",
    "superseded",
    "retracted",
    "redacted",
    "not understood",
    "practice",
    "not searched",
)

NOT_COUNTED = ("before_planting", "after_withdrawal", "missing_on_planting_day")
"""Findings whose observations give no state: they cannot be, or are not of that day."""


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


@dataclass(frozen=True, slots=True)
class Settled:
    """All that is settled, and all that is not, of some plots."""

    lives: tuple[Life, ...]
    groups: tuple[CountedGroup, ...]
    fates: Mapping[str, str]
    matters: tuple[Matter, ...]
    coral_of: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Slates:
    """Pairs of sessions that look like one paper slate typed twice, as settled for their visit."""

    open: frozenset[frozenset[str]] = frozenset()
    retyped: frozenset[str] = frozenset()
    """Sessions that are a slate typed again, as ruled: what they say is already said."""


def settle(
    heads: Iterable[Entry],
    corals: Mapping[str, Coral],
    groups: Mapping[tuple[str, str], Group],
    dives: Mapping[str, Dive],
    rulings: Rulings,
    slates: Slates,
) -> Settled:
    """Settle plots that nothing ties to others.

    Args:
        heads: standing observations; every one that may be of one of these corals.
        corals, groups: all of these plots.
        dives: the session of every observation, as settled.
        rulings: those that name any of the observations.
        slates: of the visits of these sessions.
    """
    readings = [read(entry, dives[entry.session]) for entry in heads]
    fates: dict[str, str] = {}
    matters = [_value_matter(reading, rulings) for reading in readings if reading.faults and reading.dive.protocol]
    usable = [reading for reading in readings if not _first_fate(reading, fates)]
    counted, tagged = _split(usable, lambda reading: reading.is_counted)
    placed = place(tagged, Plots(corals.values()), rulings)
    matters += placed.matters
    fates |= dict.fromkeys(placed.unsettled, "in a matter") | dict.fromkeys(placed.set_aside, "set aside")
    seen: dict[str, list[Reading]] = defaultdict(list)
    for reading in tagged:
        if reading.digest in placed.coral_of:
            seen[placed.coral_of[reading.digest]].append(reading)
    lives = []
    for coral in sorted(corals):
        life, of_coral, about = _life(corals[coral], seen.get(coral, ()), rulings, slates)
        lives.append(life)
        fates |= of_coral
        matters += about
    counts = []
    for group, rows in _by_group(groups, counted, fates, matters).items():
        found = settle_group(groups[group], rows, rulings, slates.retyped)
        counts.append(found)
        fates |= found.fates
        matters += found.matters
    return Settled(
        tuple(lives), tuple(counts), dict(sorted(fates.items())), tuple(sorted(matters, key=lambda m: m.id)), placed.coral_of
    )


def _first_fate(reading: Reading, fates: dict[str, str]) -> str | None:
    """The fate of an observation that says nothing about a state, whatever coral it is of."""
    fate = None
    if reading.dive.practice:
        fate = "practice"
    elif reading.dive.set_aside:
        fate = "set aside"
    elif not reading.is_searched:
        fate = "not searched"
    elif reading.dive.visit is None:
        fate = "in a matter"  # no day, or no site: its session's matter
    elif reading.status is None and not reading.is_counted:
        fate = "not understood"
    if fate is not None:
        fates[reading.digest] = fate
    return fate


def _value_matter(reading: Reading, rulings: Rulings) -> Matter:
    ruling = rulings.on("value", [reading.digest])
    return Matter(
        "value",
        (reading.digest,),
        reading.faults[0],
        reading.unit,
        visit=reading.dive.visit,
        session=reading.dive.id,
        answers=("stands",),
        ruling=ruling.digest if ruling and ruling.answer == "stands" else None,
    )


def _life(
    coral: Coral, readings: Sequence[Reading], rulings: Rulings, slates: Slates
) -> tuple[Life, dict[str, str], list[Matter]]:
    """One coral, twice where a ruling on its history takes observations out: the question stays, its answer holds."""
    life, fates, matters = _compared_life(coral, readings, rulings, slates)
    aside = {
        digest
        for matter in matters
        if matter.kind == "history" and not matter.is_open
        for digest in _taken_out(matter, rulings)
    }
    if aside:
        kept = [matter for matter in matters if matter.kind == "history"]
        life, fates, again = _compared_life(coral, [r for r in readings if r.digest not in aside], rulings, slates)
        asked = {matter.id for matter in kept}
        matters = kept + [matter for matter in again if matter.id not in asked]
        fates |= dict.fromkeys(aside, "set aside")
    return life, fates, matters


def _taken_out(matter: Matter, rulings: Rulings) -> Sequence[str]:
    ruling = rulings.on(matter.kind, matter.of)
    if ruling is None or ruling.answer != "set_aside":
        return ()
    observation = ruling.keys.get("observation")
    return [observation] if observation in matter.of else matter.of


def _compared_life(
    coral: Coral, readings: Sequence[Reading], rulings: Rulings, slates: Slates
) -> tuple[Life, dict[str, str], list[Matter]]:
    retyped, originals = _split(readings, lambda reading: reading.dive.id in slates.retyped)
    by_visit: dict[str, list[Reading]] = defaultdict(list)
    for reading in originals:
        by_visit[reading.dive.visit or ""].append(reading)
    compared = [
        compare(coral.id, coral.plot or "", visit, rows, rulings, slates.open) for visit, rows in sorted(by_visit.items())
    ]
    fates = {digest: fate for one in compared for digest, fate in one.fates.items()}
    states = {one.visit.visit: one.visit.state for one in compared}
    for reading in retyped:
        same = reading.status == states.get(reading.dive.visit or "")
        fates[reading.digest] = "agrees with a counted one" if same else "overruled"
    matters = [one.matter for one in compared if one.matter]
    protocol = _protocol(readings)
    visits = tuple(one.visit for one in compared)
    life = _history(coral, visits, _cause(visits, protocol))
    found = _history_matters(life, rulings)
    matters += found
    fates |= {digest: "in a matter" for matter in found for digest in _uncounted(matter, fates)}
    if any(matter.is_open for matter in found):
        life = replace(life, is_disputed=True)
    return life, fates, matters + odd_growth(coral, _in_state("alive", visits), protocol, rulings)


def _in_state(state: State, visits: Iterable[Visit]) -> list[Visit]:
    """The visits that gave that state, in order of days."""
    return sorted((visit for visit in visits if visit.state == state), key=lambda visit: visit.days[state])


def _cause(visits: Iterable[Visit], protocol: Protocol | None) -> str | None:
    field = protocol.with_role("cause") if protocol else None
    dead = _in_state("dead", visits)
    cause = dead[0].values.get(field.name) if field and dead else None
    return cause if isinstance(cause, str) else None


def _protocol(readings: Sequence[Reading]) -> Protocol | None:
    """The protocol of the newest observation."""
    newest = max(readings, key=lambda reading: (reading.dive.day or date.min, reading.digest), default=None)
    return newest.dive.protocol if newest else None


def _history(coral: Coral, visits: tuple[Visit, ...], cause: str | None) -> Life:
    values = coral.values
    found = histories(
        visits,
        partial(
            history,
            day_of(values.get("planted_on")),
            withdrawn_on=day_of(values.get("withdrawn_on")),
            known_from=day_of(values.get("known_from")),
        ),
    )
    is_disputed = any(visit.is_disputed for visit in visits)
    return Life(coral, visits, found.settled, found.worst, found.best, is_disputed, cause)


def _history_matters(life: Life, rulings: Rulings) -> list[Matter]:
    """A matter for each impossible thing, over the observations of the days that it is about."""
    found: dict[str, Matter] = {}
    for finding in life.settled.findings:
        of = tuple(sorted({d for visit in life.visits if set(visit.days.values()) & set(finding.days) for d in visit.digests}))
        if not of:
            continue  # a day of withdrawal: the register's to mend
        ruling = rulings.on("history", of)
        applies = ruling is not None and ruling.answer in ("stands", "set_aside")
        matter = Matter(
            "history",
            of,
            Fault(f"settle.{finding.kind}", {"days": ", ".join(map(str, finding.days))}),
            life.coral.plot or "",
            corals=(life.coral.id,),
            answers=("stands", "set_aside"),
            ruling=ruling.digest if ruling and applies else None,
        )
        found.setdefault(matter.id, matter)
    return list(found.values())


def _uncounted(matter: Matter, fates: Mapping[str, str]) -> Sequence[str]:
    """Observations that count nowhere because they cannot be. (Alive after dead counts, and is named as unsettled.)"""
    impossible = matter.why.key.removeprefix("settle.") in NOT_COUNTED
    return [digest for digest in matter.of if digest in fates] if impossible else ()


def _by_group(
    groups: Mapping[tuple[str, str], Group], counted: Iterable[Reading], fates: dict[str, str], matters: list[Matter]
) -> dict[tuple[str, str], list[Reading]]:
    """Counts by the group that they are of; a count of what was never planted there is a matter."""
    found: dict[tuple[str, str], list[Reading]] = {group: [] for group in groups}
    for reading in counted:
        group = reading.said.get("plot"), reading.said.get("genotype")
        if group in found:
            found[group].append(reading)
            continue
        fates[reading.digest] = "in a matter"
        matters.append(
            Matter(
                "count",
                (reading.digest,),
                Fault("settle.count_of_nothing_planted"),
                reading.unit,
                visit=reading.dive.visit,
                session=reading.dive.id,
            )
        )
    return found


def _split(readings: Iterable[Reading], chosen: Any) -> tuple[list[Reading], list[Reading]]:
    yes: list[Reading] = []
    no: list[Reading] = []
    for reading in readings:
        (yes if chosen(reading) else no).append(reading)
    return yes, no
