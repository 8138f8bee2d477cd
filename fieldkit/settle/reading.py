"""An observation as read: what the entry says, understood by the protocol of its session. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fieldkit.errors import Fault
from fieldkit.ledger import Entry
from fieldkit.protocol import understand
from fieldkit.settle.calendar import Dive


@dataclass(frozen=True, slots=True)
class Reading:
    """One standing observation. `values` are the protocol's fields as understood; what was not stands in `faults`."""

    digest: str
    said: Mapping[str, Any]
    dive: Dive
    values: Mapping[str, Any]
    faults: tuple[Fault, ...]
    status: str | None
    """alive, dead or missing; None where it says none that can be understood."""

    @property
    def unit(self) -> str:
        """Where it belongs while nobody knows its coral: the plot that it names, else its session."""
        return home(self.said, self.dive.id)

    @property
    def is_counted(self) -> bool:
        """Whether it is a count of one genotype in a plot without tags."""
        return not {"coral", "tag", "position"} & self.said.keys() and "genotype" in self.said

    @property
    def is_searched(self) -> bool:
        return self.said.get("searched") != "no"


def home(values: Mapping[str, Any], session: str) -> str:
    """The unit to which an observation belongs by its own words alone, so that it never moves."""
    plot = values.get("plot")
    return plot if isinstance(plot, str) else session


def read(entry: Entry, dive: Dive) -> Reading:
    """Understand an observation by its session's protocol; without the protocol nothing of it is understood yet."""
    if dive.protocol is None:
        return Reading(entry.digest, entry.values, dive, {}, (Fault("settle.no_protocol"),), None)
    counted = "alive" in entry.values and not {"coral", "tag", "position"} & entry.values.keys()
    understood = understand(dive.protocol, "count" if counted else "coral", entry.values)
    field = dive.protocol.with_role("status")
    status = understood.values.get(field.name) if field else None
    return Reading(
        entry.digest, entry.values, dive, understood.values, understood.faults, status if isinstance(status, str) else None
    )
