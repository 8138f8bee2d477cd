"""What the observations of one coral on one visit say together. Pure.

Field by field: absent on one side is no disagreement, equal within the protocol's tolerance is agreement, anything else is
a matter over exactly these observations. While the state itself is in dispute the visit gives no state.

A row of a slate that was typed twice is said once: the typing that a lead kept counts. Where the other differs somebody
mistyped, and the matter about that is settled from the start; a lead may still say that the other typing was right.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import combinations
from typing import Any

from fieldkit.errors import Fault
from fieldkit.protocol import Protocol, agree, renamed
from fieldkit.settle.histories import State
from fieldkit.settle.matter import Matter, Ruling, Rulings
from fieldkit.settle.reading import Reading
from fieldkit.settle.slates import Slates

STATES: tuple[State, ...] = ("alive", "missing", "dead")


@dataclass(frozen=True, slots=True)
class Visit:
    """A coral as seen on one visit."""

    visit: str
    days: Mapping[State, date]
    """State to the day on which it counts: one where the state is agreed or settled, several while it is in dispute."""
    values: Mapping[str, Any]
    """The protocol's fields on which the observations agree, or that were settled."""
    digests: tuple[str, ...]

    @property
    def state(self) -> State | None:
        return next(iter(self.days)) if len(self.days) == 1 else None

    @property
    def is_disputed(self) -> bool:
        return len(self.days) > 1


@dataclass(frozen=True, slots=True)
class Compared:
    """One visit of one coral, the fate of each observation of it, and the matters where they differ."""

    visit: Visit
    fates: Mapping[str, str]
    matters: tuple[Matter, ...] = ()


@dataclass(frozen=True, slots=True)
class _Where:
    """The coral and the visit that are compared."""

    coral: str
    unit: str
    visit: str

    def asks(
        self, why: Fault, readings: Iterable[Reading], differing: Mapping[str, Mapping[str, Any]], answers: tuple[str, ...]
    ) -> Matter:
        of = tuple(reading.digest for reading in readings)
        return Matter("double", of, why, self.unit, (self.coral,), self.visit, fields=differing, answers=answers)


def compare(coral: str, unit: str, visit: str, readings: Sequence[Reading], rulings: Rulings, slates: Slates) -> Compared:
    """Compare the observations of one coral on one visit.

    Args:
        unit: the plot of the coral.
        readings: at least one; their coral is settled, and all go by the names of one protocol.
        slates: while it is open whether two sessions are one slate, that is the matter, not each of their rows.
    """
    if len(readings) == 1:
        return _alone(visit, readings[0])
    where = _Where(coral, unit, visit)
    readings = sorted(readings, key=lambda reading: reading.digest)
    originals, mistyped = _typed_once(readings, where, rulings, slates)
    differing = _differing(originals)
    why = Fault("settle.double", {"fields": ", ".join(differing)})
    double = where.asks(why, originals, differing, ("use", "both_stand", "set_aside", "place"))
    ruling = rulings.settling(double) if differing else None
    used = _used(ruling, differing, originals[0].protocol)
    values = {name: value for name, value in _first(originals).items() if name not in differing} | used
    days = _days(originals, ruling, used.get(_status_field(originals[0].protocol)))
    settled = Visit(visit, days, dict(sorted(values.items())), double.of)
    if differing and not _may_be_one_slate(originals, slates):
        is_settled = ruling and not differing.keys() - used.keys() - _standing(ruling, differing)
        mistyped.append(replace(double, ruling=ruling.digest if ruling and is_settled else None))
    return Compared(settled, _fates(readings, settled), tuple(mistyped))


def _alone(visit: str, reading: Reading) -> Compared:
    """One observation has nothing to be compared with."""
    status, day = reading.status, reading.dive.day
    days = {state: day for state in STATES if day and state == status}
    seen = Visit(visit, days, dict(sorted(reading.values.items())), (reading.digest,))
    return Compared(seen, {reading.digest: "counted" if status == seen.state else "overruled"})


def _typed_once(
    readings: Iterable[Reading], where: _Where, rulings: Rulings, slates: Slates
) -> tuple[list[Reading], list[Matter]]:
    """The readings without those of a slate typed again that say again what is said; and what was mistyped."""
    of_session = {reading.dive.id: reading for reading in readings}
    originals = dict(of_session)
    matters = []
    for session, reading in of_session.items():
        kept = slates.again.get(session)
        if kept is None or kept.session not in originals:
            continue  # a row that the kept typing left out is said nowhere else
        del originals[session]
        pair = sorted((of_session[kept.session], reading), key=lambda one: one.digest)
        differing = _differing(pair)
        if differing:
            why = Fault("settle.mistyped", {"fields": ", ".join(differing)})
            matter = where.asks(why, pair, differing, ("use",))
            ruling = rulings.settling(matter)
            used = _used(ruling, differing, reading.protocol)
            originals[kept.session] = originals[kept.session].mended(used)
            matters.append(replace(matter, ruling=ruling.digest if ruling and used else kept.ruling))
    return list(originals.values()), matters


def _may_be_one_slate(readings: Iterable[Reading], slates: Slates) -> bool:
    return any(frozenset(pair) in slates.open for pair in combinations({reading.dive.id for reading in readings}, 2))


def _differing(readings: Sequence[Reading]) -> dict[str, dict[str, Any]]:
    """Field to digest to value, of the fields on which the observations do not agree."""
    if len(readings) == 1:
        return {}
    said: dict[str, dict[str, Any]] = {}
    for reading in readings:
        for name, value in reading.values.items():
            said.setdefault(name, {})[reading.digest] = value
    protocol = readings[0].protocol
    return {name: values for name, values in sorted(said.items()) if not _agree(protocol, name, list(values.values()))}


def _agree(protocol: Protocol | None, name: str, values: list[Any]) -> bool:
    known = protocol.field(name) if protocol else None
    if known is None or known.kind == "text":
        return True  # words are read, not compared
    return all(agree(known, one, other) for one, other in combinations(values, 2))


def _status_field(protocol: Protocol | None) -> str:
    field = protocol.with_role("status") if protocol else None
    return field.name if field else ""


def _first(readings: Sequence[Reading]) -> dict[str, Any]:
    """Of each field the value of the smallest digest: where equal values need one representative."""
    found: dict[str, Any] = {}
    for reading in readings:
        for name, value in reading.values.items():
            found.setdefault(name, value)
    return found


def _used(ruling: Ruling | None, differing: Iterable[str], protocol: Protocol | None) -> dict[str, Any]:
    """The values that a ruling puts in the place of differing ones, under the names that fields have now."""
    if ruling is None or ruling.answer != "use" or protocol is None:
        return {}
    fields = renamed(protocol.fields_of("coral"), ruling.fields)
    status = _status_field(protocol)
    return {name: fields[name] for name in differing if name in fields and (name != status or fields[name] in STATES)}


def _standing(ruling: Ruling, differing: Mapping[str, Mapping[str, Any]]) -> set[str]:
    """Fields that a ruling lets stand beside each other. Alive against dead cannot."""
    if ruling.answer != "both_stand":
        return set()
    return {name for name, values in differing.items() if not {"alive", "dead"} <= set(map(str, values.values()))}


def _days(readings: Sequence[Reading], ruling: Ruling | None, used: Any) -> dict[State, date]:
    """Alive counts on its latest day of the visit, dead and missing on their earliest."""
    seen: dict[State, date] = {}
    for state in STATES:
        days = [reading.dive.day for reading in readings if reading.status == state and reading.dive.day]
        if days:
            seen[state] = max(days) if state == "alive" else min(days)
    if used in STATES:
        return {used: seen[used]} if used in seen else dict.fromkeys([used], max(seen.values()))
    if ruling is not None and ruling.answer == "both_stand" and "missing" in seen and len(seen) == 2:
        return {state: day for state, day in seen.items() if state != "missing"}
    return seen


def _fates(readings: Iterable[Reading], settled: Visit) -> dict[str, str]:
    """By what each observation said itself; a slate typed again comes after the typing that was kept."""
    fates: dict[str, str] = {}
    for reading in sorted(readings, key=lambda reading: (reading.digest not in settled.digests, reading.digest)):
        if settled.is_disputed:
            fates[reading.digest] = "in a matter"
        elif reading.status != settled.state:
            fates[reading.digest] = "overruled"
        else:
            fates[reading.digest] = "agrees with a counted one" if "counted" in fates.values() else "counted"
    return fates
