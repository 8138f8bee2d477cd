"""What the state says, row by row: the forms in which everyone to the right of the base reads it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypedDict

from fieldkit.errors import Fault
from fieldkit.ledger.fold import Session
from fieldkit.settle.histories import State


@dataclass(frozen=True)
class SessionRow:
    """A session as it says itself, and when and where it was as settled."""

    session: Session
    site: str | None
    day: str | None
    visit: str | None
    set_aside: bool

    @property
    def protocol(self) -> str:
        """Digest of the protocol that it was written under; empty where it names none."""
        protocol = self.session.values.get("protocol")
        return protocol if isinstance(protocol, str) else ""


@dataclass(frozen=True)
class MatterRow:
    """A matter as it stands."""

    id: str
    kind: str
    of: tuple[str, ...]
    why: Fault
    unit: str
    corals: tuple[str, ...]
    visit: str | None
    session: str | None
    fields: Mapping[str, Mapping[str, Any]]
    """Field to digest to value, where observations differ."""
    answers: tuple[str, ...]
    ruling: str | None

    @property
    def is_open(self) -> bool:
        return self.ruling is None


@dataclass(frozen=True, slots=True)
class MatterInBrief:
    """As much of a matter as puts it in its place among thousands."""

    id: str
    kind: str
    why: str
    """The key of its reason."""
    unit: str
    fields: tuple[str, ...]
    sessions: tuple[str, ...]
    """Those that made the observations that it is about; of a matter about sessions those themselves; else where it came up."""
    is_about_sessions: bool


@dataclass(frozen=True)
class ObservationRow:
    """An observation as it was handed in, and what became of it. Of one that was redacted nothing is left but that it was."""

    digest: str
    session: str
    seq: int
    values: Mapping[str, Any]
    fate: str
    coral: str | None


class CoralSaid(TypedDict):
    """What of a coral has no column."""

    values: dict[str, Any]
    """All that the register knows of it."""
    tags: list[tuple[str, str | None, str | None]]
    """Each tag that it wore, from which day, until which day."""
    disputed: list[str]
    """Names of values about which the register contradicts itself."""
    findings: list[tuple[str, list[str]]]
    """What cannot be in its history, and the days that it is about."""


class CoralRow(TypedDict):
    """One coral. `left`, `lost` and `open` are ages in days since planting.

    It died in (left, lost] where missing counts as lost, in (left, open] where that is open; None as an end: not seen dead.
    `worst` and `best` are what settling could make of it.
    """

    id: str
    unit: str
    plot: str | None
    genotype: str | None
    species: str | None
    method: str | None
    position: str | None
    tag: str | None
    planted_on: str | None
    precision: str | None
    known_from: str | None
    withdrawn_on: str | None
    fate: str
    left_out: str | None
    entry: int
    disputed: int
    seen_on: str | None
    cause: str | None
    left: int | None
    lost: int | None
    open: int | None
    worst_left: int | None
    worst_lost: int | None
    worst_open: int | None
    best_left: int | None
    best_lost: int | None
    best_open: int | None
    said: CoralSaid


class SeenSaid(TypedDict):
    """What was settled of a coral on a visit."""

    days: dict[State, str]
    """State to the day on which it counts; several while the state is in dispute."""
    values: dict[str, Any]
    digests: list[str]


class SeenRow(TypedDict):
    """A coral on a visit; `state` and `day` are None while the state is in dispute."""

    coral: str
    visit: str
    unit: str
    state: State | None
    day: str | None
    said: SeenSaid


class CountedRow(TypedDict):
    """A genotype in a counted plot; `said` holds its weighted intervals by answer (settled, worst, best), and its plantings."""

    unit: str
    genotype: str
    planted: int
    planted_on: str | None
    method: str | None
    said: dict[str, Any]


class CountedVisitRow(TypedDict):
    """What one visit counted of a group: alive, dead, missing under `numbers`, `worst` and `best`."""

    unit: str
    genotype: str
    place: int
    """Which of the group's visits it was, in order of days."""
    day: str
    said: dict[str, Any]


class PhotoRow(TypedDict):
    """A photo that was promised: `photo` is the digest of its bytes, `line` the row of a slate that it shows, or nothing."""

    digest: str
    unit: str
    photo: str
    line: str
    said: dict[str, Any]


class FateRow(TypedDict):
    """What became of an observation."""

    digest: str
    unit: str
    fate: str
    coral: str | None
    session: str
