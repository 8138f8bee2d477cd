"""A genotype in a counted plot: the counts of each visit put together, and the intervals that follow. Pure.

Buddies may split a plot: `part` 1 of `parts` 2 and part 2 of 2 add up. Two counts of the same part compare like two observations of
one coral. While a part is out, or two counts differ, the visit gives no count.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from fieldkit.errors import Fault
from fieldkit.register.fold import Group
from fieldkit.settle.calendar import day_of
from fieldkit.settle.counted import Count, CountedHistory, counted_history
from fieldkit.settle.matter import Matter, Rulings
from fieldkit.settle.reading import Reading

NUMBERS = ("alive", "dead", "missing")

Numbers = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class CountedVisit:
    """What one visit counted; `worst` and `best` differ from each other where counts are in dispute."""

    day: date
    numbers: Numbers | None
    worst: Numbers
    best: Numbers


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


def settle_group(group: Group, readings: Iterable[Reading], rulings: Rulings, retyped: frozenset[str]) -> CountedGroup:
    """Settle the counts of one genotype in one plot.

    Args:
        readings: its counts, of visits with a day.
        retyped: sessions that are a slate typed again; their counts are already said.
    """
    fates: dict[str, str] = {}
    matters: list[Matter] = []
    by_visit: dict[str, list[Reading]] = defaultdict(list)
    for reading in readings:
        if _numbers(reading) is None:
            fates[reading.digest] = "not understood"
        elif reading.dive.id in retyped:
            fates[reading.digest] = "agrees with a counted one"
        else:
            by_visit[reading.dive.visit or ""].append(reading)
    visits = [_visit(group, rows, rulings, fates, matters) for _, rows in sorted(by_visit.items())]
    seen = tuple(sorted((visit for visit in visits if visit), key=lambda visit: visit.day))
    planted_on = day_of(group.planted[0][0]) if len(group.planted) == 1 else None
    planted = sum(number for _, number in group.planted)
    if len(group.planted) > 1:
        matters.append(_of_group(group, group.said_by, Fault("settle.two_planting_days")))
    return CountedGroup(
        group,
        seen,
        planted_on,
        planted,
        group_history(planted_on, planted, [(visit.day, visit.numbers) for visit in seen if visit.numbers]),
        group_history(planted_on, planted, [(visit.day, visit.worst) for visit in seen]),
        group_history(planted_on, planted, [(visit.day, visit.best) for visit in seen]),
        fates,
        (*matters, *_impossible(group, planted_on, planted, seen, by_visit, rulings)),
    )


def group_history(
    planted_on: date | None, planted: int, visits: Iterable[tuple[date, Numbers]], as_of: date | None = None
) -> CountedHistory | None:
    """The intervals that counts give. None without one planting day, or where that lies after the as-of day."""
    if planted_on is None or (as_of and planted_on > as_of):
        return None
    counts = [Count((day - planted_on).days, *numbers) for day, numbers in visits if not as_of or day <= as_of]
    return counted_history(planted, counts)


def _numbers(reading: Reading) -> Numbers | None:
    said = [reading.said.get(name, "0") for name in NUMBERS]
    if "alive" not in reading.said or not all(isinstance(number, str) and number.isdecimal() for number in said):
        return None
    alive, dead, missing = (int(number[:9]) for number in said)
    return alive, dead, missing


def _visit(
    group: Group, rows: Sequence[Reading], rulings: Rulings, fates: dict[str, str], matters: list[Matter]
) -> CountedVisit | None:
    """One visit's count; None while a part of the plot is out."""
    by_part: dict[tuple[str, str], list[Reading]] = defaultdict(list)
    for reading in sorted(rows, key=lambda reading: reading.digest):
        by_part[str(reading.said.get("part", "1")), str(reading.said.get("parts", "1"))].append(reading)
    parts = {parts for _, parts in by_part}
    whole = len(parts) == 1 and {part for part, _ in by_part} == {str(i) for i in range(1, len(by_part) + 1)}
    complete = whole and next(iter(parts)) == str(len(by_part))
    agreed, worst, best = [], [], []
    for counts in by_part.values():
        numbers = [number for reading in counts if (number := _numbers(reading))]
        settled = _settled(group, counts, rulings, matters)
        agreed.append(settled)
        worst.append(min(numbers))
        best.append(max(numbers))
        for i, reading in enumerate(counts):
            fates[reading.digest] = _fate(i, _numbers(reading), settled, complete)
    if not complete:
        matters.append(_of_group(group, [reading.digest for reading in rows], Fault("settle.part_out"), rows[0].dive.visit))
        return None
    day = max(reading.dive.day for reading in rows if reading.dive.day)
    known = [numbers for numbers in agreed if numbers]
    return CountedVisit(day, _sum(known) if len(known) == len(agreed) else None, _sum(worst), _sum(best))


def _settled(group: Group, counts: Sequence[Reading], rulings: Rulings, matters: list[Matter]) -> Numbers | None:
    """The count of one part on which all agree, or that a ruling gives."""
    different = {_numbers(reading) for reading in counts}
    if len(different) == 1:
        return different.pop()
    of = sorted(reading.digest for reading in counts)
    ruling = rulings.on("double", of)
    used = ruling.keys.get("fields") if ruling and ruling.answer == "use" else None
    known = isinstance(used, dict) and all(str(used.get(name, "")).isdecimal() for name in NUMBERS)
    fields = {name: {r.digest: r.said.get(name, "0") for r in counts} for name in NUMBERS}
    matters.append(
        Matter(
            "double",
            tuple(of),
            Fault("settle.double", {"fields": ", ".join(n for n, said in fields.items() if len(set(said.values())) > 1)}),
            group.plot,
            visit=counts[0].dive.visit,
            fields=fields,
            answers=("use",),
            ruling=ruling.digest if ruling and known else None,
        )
    )
    if not (known and isinstance(used, dict)):
        return None
    alive, dead, missing = (int(used[name]) for name in NUMBERS)
    return alive, dead, missing


def _fate(place: int, said: Numbers | None, settled: Numbers | None, complete: bool) -> str:
    if settled is None or not complete:
        return "in a matter"
    if said != settled:
        return "overruled"
    return "agrees with a counted one" if place else "counted"


def _sum(numbers: Iterable[Numbers]) -> Numbers:
    alive, dead, missing = (sum(column) for column in zip(*numbers, strict=True))
    return alive, dead, missing


def _impossible(
    group: Group,
    planted_on: date | None,
    planted: int,
    seen: Sequence[CountedVisit],
    by_visit: Mapping[str, list[Reading]],
    rulings: Rulings,
) -> list[Matter]:
    """A matter for each thing in the counts that cannot be."""
    found = group_history(planted_on, planted, [(visit.day, visit.numbers) for visit in seen if visit.numbers])
    if found is None or planted_on is None:
        return []
    matters = []
    for finding in found.findings:
        days = {day for day in (visit.day for visit in seen) if (day - planted_on).days in finding.ages}
        of = [r.digest for rows in by_visit.values() if {r.dive.day for r in rows} & days for r in rows]
        why = Fault(f"settle.{finding.kind}", {"days": ", ".join(map(str, sorted(days))), "planted": planted})
        matter = _of_group(group, of, why)
        ruling = rulings.on("count", matter.of)
        applies = ruling is not None and ruling.answer == "stands"
        matters.append(replace(matter, ruling=ruling.digest if ruling and applies else None))
    return matters


def _of_group(group: Group, of: Iterable[str], why: Fault, visit: str | None = None) -> Matter:
    return Matter("count", tuple(sorted(of)), why, group.plot, visit=visit, answers=("stands",))
