"""A genotype in a counted plot: the counts of each visit put together, and the intervals that follow. Pure.

Buddies may split a plot: `part` 1 of `parts` 2 and part 2 of 2 add up. Two counts of the same part compare like two
observations of one coral. While a part is out, or two counts differ, the visit gives no count.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from fieldkit.errors import Fault
from fieldkit.register.fold import Group
from fieldkit.settle.calendar import day_of
from fieldkit.settle.counted import Count, CountedHistory, CountFinding, counted_history
from fieldkit.settle.matter import Matter, Ruling, Rulings
from fieldkit.settle.reading import NUMBERS, Numbers, Reading
from fieldkit.settle.slates import Slates

NEVER_RIGHT = ("before_planting", "missing_on_planting_day")
"""What no count can be; it can only be set aside."""


@dataclass(frozen=True, slots=True)
class CountedVisit:
    """What one visit counted; `worst` and `best` differ from each other where counts are in dispute."""

    day: date
    numbers: Numbers | None
    worst: Numbers
    best: Numbers
    digests: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class CountedGroup:
    """One group: its visits and the intervals that they give. Histories are None where there is no single planting day."""

    group: Group
    visits: tuple[CountedVisit, ...]
    planted_on: date | None
    planted: int
    settled: CountedHistory | None
    worst: CountedHistory | None
    best: CountedHistory | None
    fates: Mapping[str, str]
    matters: tuple[Matter, ...]


def settle_group(group: Group, readings: Sequence[Reading], rulings: Rulings, slates: Slates) -> CountedGroup:
    """Settle the counts of one genotype in one plot, twice where a ruling takes a count out: the question stays with its
    answer.

    Args:
        readings: its counts, of visits with a day.
    """
    told = _settled(group, readings, rulings, slates)
    aside = {digest for matter in told.matters for digest in _taken_out(matter, rulings)}
    if not aside:
        return told
    found = settle_group(group, [reading for reading in readings if reading.digest not in aside], rulings, slates)
    answered = {matter.id: matter for matter in told.matters if _taken_out(matter, rulings)}
    matters = (*answered.values(), *(matter for matter in found.matters if matter.id not in answered))
    return replace(found, fates={**found.fates, **dict.fromkeys(aside, "set aside")}, matters=matters)


def group_history(
    planted_on: date | None, planted: int, visits: Iterable[tuple[date, Numbers]], as_of: date | None = None
) -> CountedHistory | None:
    """The intervals that counts give. None without one planting day, or where that lies after the as-of day."""
    if planted_on is None or (as_of and planted_on > as_of):
        return None
    counts = [Count((day - planted_on).days, *numbers) for day, numbers in visits if not as_of or day <= as_of]
    return counted_history(planted, counts)


def _settled(group: Group, readings: Iterable[Reading], rulings: Rulings, slates: Slates) -> CountedGroup:
    by_visit: dict[str, list[Reading]] = defaultdict(list)
    for reading in readings:
        by_visit[reading.dive.visit or ""].append(reading)
    fates: dict[str, str] = {}
    matters = [rulings.asked(matter) for matter in _of_planting(group)]
    visits = [_visit(group, rows, rulings, slates, fates, matters) for _, rows in sorted(by_visit.items())]
    seen = tuple(sorted((visit for visit in visits if visit), key=lambda visit: visit.day))
    planted_on = day_of(group.planted[0][0]) if len(group.planted) == 1 else None
    planted = sum(number for _, number in group.planted)
    settled, worst, best = (
        group_history(planted_on, planted, [(visit.day, counts) for visit in seen if (counts := getattr(visit, answer))])
        for answer in ("numbers", "worst", "best")
    )
    if settled and planted_on:
        matters += [rulings.asked(_impossible(group, one, planted_on, planted, seen)) for one in settled.findings]
    return CountedGroup(group, seen, planted_on, planted, settled, worst, best, fates, tuple(matters))


def _visit(
    group: Group, rows: Sequence[Reading], rulings: Rulings, slates: Slates, fates: dict[str, str], matters: list[Matter]
) -> CountedVisit | None:
    """One visit's count; None while a part of the plot is out."""
    by_part: dict[tuple[str, str], list[Reading]] = defaultdict(list)
    for reading in sorted(rows, key=lambda reading: reading.digest):
        by_part[str(reading.said.get("part", "1")), str(reading.said.get("parts", "1"))].append(reading)
    complete = set(by_part) == {(str(i), str(len(by_part))) for i in range(1, len(by_part) + 1)}
    parts = [_part(group, counts, rulings, slates, matters) for counts in by_part.values()]
    for counts, part in zip(by_part.values(), parts, strict=True):
        fates |= _fates(counts, part.numbers if complete else None)
    of = tuple(sorted(reading.digest for reading in rows))
    if not complete:
        why = Fault("settle.part_out")
        matters.append(rulings.asked(_of_group(group, of, why, ("set_aside",), rows[0].dive.visit)))
        return None
    day = max(reading.dive.day for reading in rows if reading.dive.day)
    known = [part.numbers for part in parts if part.numbers]
    numbers = _sum(known) if len(known) == len(parts) else None
    return CountedVisit(day, numbers, _sum(part.worst for part in parts), _sum(part.best for part in parts), of)


@dataclass(frozen=True, slots=True)
class _Part:
    """What was counted of one part of a plot; `numbers` is None while counts of it differ."""

    numbers: Numbers | None
    worst: Numbers
    best: Numbers


def _part(group: Group, counts: Sequence[Reading], rulings: Rulings, slates: Slates, matters: list[Matter]) -> _Part:
    sessions = {reading.dive.id for reading in counts}
    originals = [reading for reading in counts if (slates.kept(reading.dive.id) or "") not in sessions]
    numbers = [number for reading in originals if (number := reading.numbers)]
    if len(set(numbers)) == 1:
        return _Part(numbers[0], numbers[0], numbers[0])
    differing = {
        name: {reading.digest: str(number[i]) for reading, number in zip(originals, numbers, strict=True)}
        for i, name in enumerate(NUMBERS)
        if len({number[i] for number in numbers}) > 1
    }
    matter = Matter(
        "double",
        tuple(sorted(reading.digest for reading in originals)),
        Fault("settle.double", {"fields": ", ".join(differing)}),
        group.plot,
        visit=counts[0].dive.visit,
        fields=differing,
        answers=("use", "set_aside"),
    )
    ruling = rulings.settling(matter)
    used = _used(ruling, originals[0], differing) if ruling else None
    is_settled = ruling and (used or ruling.answer == "set_aside")
    matters.append(replace(matter, ruling=ruling.digest if ruling and is_settled else None))
    return _Part(used, used or min(numbers), used or max(numbers))


def _used(ruling: Ruling, count: Reading, differing: Iterable[str]) -> Numbers | None:
    """The count that a ruling gives, where it says all that differs."""
    if ruling.answer != "use" or any(name not in ruling.fields for name in differing):
        return None
    return count.mended({name: ruling.fields[name] for name in differing}).numbers


def _fates(counts: Iterable[Reading], settled: Numbers | None) -> dict[str, str]:
    fates: dict[str, str] = {}
    for reading in counts:
        if settled is None:
            fates[reading.digest] = "in a matter"
        elif reading.numbers != settled:
            fates[reading.digest] = "overruled"
        else:
            fates[reading.digest] = "agrees with a counted one" if "counted" in fates.values() else "counted"
    return fates


def _sum(numbers: Iterable[Numbers]) -> Numbers:
    alive, dead, missing = (sum(column) for column in zip(*numbers, strict=True))
    return alive, dead, missing


def _taken_out(matter: Matter, rulings: Rulings) -> Sequence[str]:
    """The counts that a ruling on a matter takes out of all figures."""
    ruling = rulings.settling(matter)
    if ruling is None or ruling.answer != "set_aside":
        return ()
    return [ruling.observation] if ruling.observation else ruling.of


def _of_planting(group: Group) -> list[Matter]:
    """What is wrong with the planting itself; it is mended in the register."""
    found = []
    if group.not_understood:
        found.append(_of_group(group, group.not_understood, Fault("settle.planted_no_number"), ()))
    if len(group.planted) > 1:
        found.append(_of_group(group, group.said_by, Fault("settle.two_planting_days"), ("stands",)))
    return found


def _impossible(group: Group, finding: CountFinding, planted_on: date, planted: int, seen: Sequence[CountedVisit]) -> Matter:
    """A matter about something in the counts that cannot be."""
    about = [visit for visit in seen if (visit.day - planted_on).days in finding.ages]
    why = Fault(f"settle.{finding.kind}", {"days": ", ".join(str(visit.day) for visit in about), "planted": planted})
    answers = ("set_aside",) if finding.kind in NEVER_RIGHT else ("stands", "set_aside")
    return _of_group(group, {digest for visit in about for digest in visit.digests}, why, answers)


def _of_group(group: Group, of: Iterable[str], why: Fault, answers: tuple[str, ...], visit: str | None = None) -> Matter:
    return Matter("count", tuple(sorted(of)), why, group.plot, visit=visit, answers=answers)
