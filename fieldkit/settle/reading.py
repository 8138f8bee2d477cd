"""An observation as read: what the entry says, understood by the protocol of its session. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from fieldkit.errors import Fault
from fieldkit.ledger import Entry
from fieldkit.protocol import Protocol, renamed, understand
from fieldkit.protocol.protocol import STATES
from fieldkit.settle.calendar import Dive

NUMBERS = ("alive", "dead", "missing")

Numbers = tuple[int, int, int]
"""How many alive, dead and missing."""


@dataclass(frozen=True, slots=True)
class Reading:
    """One standing observation. `values` are the protocol's fields as understood; what was not stands in `faults`."""

    digest: str
    said: Mapping[str, Any]
    dive: Dive
    values: Mapping[str, Any]
    faults: tuple[Fault, ...]
    line: int
    """Its place on the slate; where none is told, that in the session: what came before and after it is the same."""
    protocol: Protocol | None
    """The one whose names `values` go by."""
    is_counted: bool
    """Whether it is a count of one genotype in a plot without tags."""

    @property
    def status(self) -> str | None:
        """alive, dead or missing; None where it says none that can be understood."""
        field = self.protocol.with_role("status") if self.protocol else None
        status = self.values.get(field.name) if field else None
        return status if status in STATES else None

    @property
    def unit(self) -> str:
        """Where it belongs while nobody knows its coral: the plot that it names, else its session."""
        return home(self.said, self.dive.id)

    @property
    def numbers(self) -> Numbers | None:
        """What was counted; None where it is no count, or was not understood. What is not noted is none."""
        told = [self.values.get(name, self.said.get(name, "0")) for name in NUMBERS]
        if not self.is_counted or not {"alive"} <= self.said.keys() | self.values.keys() or not all(map(_is_number, told)):
            return None
        alive, dead, missing = map(int, told)
        return alive, dead, missing

    @property
    def is_searched(self) -> bool:
        return self.said.get("searched") != "no"

    @property
    def is_understood(self) -> bool:
        """Whether it says a state, or numbers of a count."""
        return (self.numbers if self.is_counted else self.status) is not None

    def mended(self, values: Mapping[str, Any]) -> Reading:
        """With these values in the place of its own, as a ruling says."""
        return replace(self, values={**self.values, **values})


def home(values: Mapping[str, Any], session: str) -> str:
    """The unit to which an observation belongs by its own words alone, so that it never moves."""
    plot = values.get("plot")
    return plot if isinstance(plot, str) else session


def read(entry: Entry, dive: Dive) -> Reading:
    """Understand an observation by its session's protocol; without the protocol nothing of it is understood yet."""
    line = entry.values.get("line")
    place = int(line) if isinstance(line, str) and line.isdecimal() and len(line) < 10 else entry.seq
    is_counted = _is_counted(entry.values)
    if dive.protocol is None:
        return Reading(entry.digest, entry.values, dive, {}, (Fault("settle.no_protocol"),), place, None, is_counted)
    understood = understand(dive.protocol, "count" if is_counted else "coral", entry.values)
    faults = (*understood.faults, *_faulty_numbers(entry.values)) if is_counted else understood.faults
    return Reading(entry.digest, entry.values, dive, understood.values, faults, place, dive.protocol, is_counted)


def _is_counted(values: Mapping[str, Any]) -> bool:
    return not {"coral", "tag", "position"} & values.keys() and not {"genotype", "alive"}.isdisjoint(values)


def _faulty_numbers(values: Mapping[str, Any]) -> list[Fault]:
    """What is wrong with the numbers of a count: every count has them, whatever the protocol."""
    if values.get("searched") == "no":
        return []
    said = {"alive": None, **values}
    return [
        Fault("settle.no_number", {"name": name, "value": "" if said[name] is None else str(said[name])})
        for name in NUMBERS
        if name in said and not _is_number(said[name])
    ]


def _is_number(said: object) -> bool:
    return isinstance(said, str) and said.isascii() and said.isdecimal() and len(said) < 10


def by_newest(readings: Sequence[Reading]) -> list[Reading]:
    """The readings of one coral under the names of the newest protocol among theirs, so that old ones count on."""
    protocol = newest(readings)
    if protocol is None:
        return list(readings)
    return [reading if reading.protocol in (None, protocol) else _renamed(reading, protocol) for reading in readings]


def newest(readings: Sequence[Reading]) -> Protocol | None:
    """The highest version of the protocol by which the latest of these readings was taken."""
    protocols = {reading.protocol for reading in readings if reading.protocol}
    if len(protocols) < 2:
        return next(iter(protocols), None)
    ordered = sorted(readings, key=lambda reading: (reading.dive.day or date.min, reading.digest))
    known = [reading.protocol for reading in ordered if reading.protocol]
    versions = {protocol for protocol in known if protocol.name == known[-1].name}
    return max(versions, key=lambda protocol: (protocol.version, protocol.digest), default=None)


def _renamed(reading: Reading, protocol: Protocol) -> Reading:
    return replace(reading, values=renamed(protocol.fields_of("coral"), reading.values), protocol=protocol)
