"""What the observations of one coral on one visit say together. Pure.

Field by field: absent on one side is no disagreement, equal within the protocol's tolerance is agreement, anything else is a matter
over exactly these observations. While the state itself is in dispute the visit gives no state.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import combinations
from typing import Any

from fieldkit.errors import Fault
from fieldkit.protocol import Protocol, agree
from fieldkit.settle.histories import State
from fieldkit.settle.matter import Matter, Ruling, Rulings
from fieldkit.settle.reading import Reading

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
    """One visit of one coral, the fate of each observation of it, and the matter where they differ."""

    visit: Visit
    fates: Mapping[str, str]
    matter: Matter | None = None
    doubted: frozenset[str] = field(default_factory=frozenset)
    """Names of fields on which they differ and that nobody settled."""


def compare(
    coral: str, unit: str, visit: str, readings: Sequence[Reading], rulings: Rulings, slates: frozenset[frozenset[str]]
) -> Compared:
    """Compare the observations of one coral on one visit.

    Args:
        unit: the plot of the coral.
        readings: at least one; their coral is settled.
        slates: pairs of sessions that may be one slate typed twice; while that is open it is the matter, not each row.
    """
    readings = sorted(readings, key=lambda reading: reading.digest)
    digests = tuple(reading.digest for reading in readings)
    differing = _differing(readings)
    ruling = rulings.on("double", digests) if differing else None
    if ruling is not None and ruling.answer == "set_aside":
        return Compared(
            Visit(visit, {}, {}, digests),
            dict.fromkeys(digests, "set aside"),
            _double(coral, unit, visit, readings, differing, ruling),
        )
    used = _used(ruling, differing)
    doubted = frozenset(differing.keys() - used.keys() - _standing(ruling, differing))
    values = {name: value for name, value in _first(readings).items() if name not in differing} | used
    days = _days(readings, ruling, used.get(_status_field(readings)))
    settled = Visit(visit, days, dict(sorted(values.items())), digests)
    one_slate = any(frozenset(pair) in slates for pair in combinations({reading.dive.id for reading in readings}, 2))
    matter = (
        _double(coral, unit, visit, readings, differing, None if doubted else ruling) if differing and not one_slate else None
    )
    return Compared(settled, _fates(readings, settled), matter, doubted)


def _differing(readings: Sequence[Reading]) -> dict[str, dict[str, Any]]:
    """Field to digest to value, of the fields on which the observations do not agree."""
    if len(readings) == 1:
        return {}
    protocol = _protocol(readings)
    said: dict[str, dict[str, Any]] = {}
    for reading in readings:
        for name, value in reading.values.items():
            said.setdefault(name, {})[reading.digest] = value
    return {name: values for name, values in sorted(said.items()) if not _agree(protocol, name, list(values.values()))}


def _agree(protocol: Protocol | None, name: str, values: list[Any]) -> bool:
    known = protocol.field(name) if protocol else None
    if known is None or known.kind == "text":
        return True  # words are read, not compared
    return all(agree(known, one, other) for one, other in combinations(values, 2))


def _protocol(readings: Sequence[Reading]) -> Protocol | None:
    """The protocol by which they are compared: that of the first day's session."""
    ordered = sorted(readings, key=lambda reading: (reading.dive.day or date.max, reading.digest))
    return ordered[0].dive.protocol


def _status_field(readings: Sequence[Reading]) -> str:
    protocol = _protocol(readings)
    field_ = protocol.with_role("status") if protocol else None
    return field_.name if field_ else "status"


def _first(readings: Sequence[Reading]) -> dict[str, Any]:
    """Of each field the value of the smallest digest: where equal values need one representative."""
    found: dict[str, Any] = {}
    for reading in readings:
        for name, value in reading.values.items():
            found.setdefault(name, value)
    return found


def _used(ruling: Ruling | None, differing: Mapping[str, Any]) -> dict[str, Any]:
    """The values that a ruling puts in the place of differing ones."""
    fields = ruling.keys.get("fields") if ruling and ruling.answer == "use" else None
    return {name: value for name, value in fields.items() if name in differing} if isinstance(fields, dict) else {}


def _standing(ruling: Ruling | None, differing: Mapping[str, Mapping[str, Any]]) -> set[str]:
    """Fields that a ruling lets stand beside each other. Alive against dead cannot."""
    if ruling is None or ruling.answer != "both_stand":
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


def _fates(readings: Sequence[Reading], settled: Visit) -> dict[str, str]:
    fates: dict[str, str] = {}
    for reading in readings:
        if reading.status is None:
            fates[reading.digest] = "not understood"
        elif settled.is_disputed:
            fates[reading.digest] = "in a matter"
        elif reading.status != settled.state:
            fates[reading.digest] = "overruled"
        else:
            fates[reading.digest] = "agrees with a counted one" if "counted" in fates.values() else "counted"
    return fates


def _double(
    coral: str,
    unit: str,
    visit: str,
    readings: Sequence[Reading],
    differing: Mapping[str, Mapping[str, Any]],
    ruling: Ruling | None,
) -> Matter:
    return Matter(
        "double",
        tuple(reading.digest for reading in readings),
        Fault("settle.double", {"fields": ", ".join(differing)}),
        unit,
        corals=(coral,),
        visit=visit,
        fields=differing,
        answers=("use", "both_stand", "set_aside"),
        ruling=ruling.digest if ruling else None,
    )
