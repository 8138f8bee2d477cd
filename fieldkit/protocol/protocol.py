"""A protocol as read: what a programme records, when, and what is plausible.

Made by `read_protocol` alone, which has checked what is said here: names are unique, conditions name fields that stand
before, windows do not overlap. Nothing here changes once made. No I/O.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from typing import Any, Literal

_UNITS = {"Cel": "°C", "1": ""}  # what UCUM writes otherwise than people do; 1 counts things

Of = Literal["coral", "head", "count"]
Kind = Literal["choice", "choices", "tally", "percent", "number", "text", "flag"]

OF: tuple[Of, ...] = ("coral", "head", "count")
KINDS: tuple[Kind, ...] = ("choice", "choices", "tally", "percent", "number", "text", "flag")
WITH_VALUES = frozenset({"choice", "choices", "tally"})
MEASURED = frozenset({"percent", "number"})
FLAG_VALUES = ("yes", "no")

# The states that the figures know. A status with a further value would make observations that count nowhere.
STATES = ("alive", "dead", "missing")

# What figures, reports and lists of work ask for, whatever the programme calls its fields; and the kinds that can answer.
ROLES: Mapping[str, frozenset[str]] = {
    "status": frozenset({"choice"}),
    "attachment": frozenset({"choice"}),
    "tag_state": frozenset({"choice"}),
    "breakage": frozenset({"choice"}),
    "cause": frozenset({"choice"}),
    "size": frozenset({"number"}),
    "live_tissue": frozenset({"percent"}),
    "recent_mortality": frozenset({"percent"}),
    "old_mortality": frozenset({"percent"}),
    "bleaching": frozenset({"choice"}),
    "disease": frozenset({"choice", "choices"}),
    "predation": frozenset({"choice", "choices", "tally"}),
    "competition": frozenset({"choice", "choices"}),
    "depth": frozenset({"number"}),
    "temperature": frozenset({"number"}),
    "visibility": frozenset({"number"}),
    "minutes": frozenset({"number"}),
}

# What a value of a coral can ask somebody to do, as docs/protocol.md explains it.
HANDS = ("reattach", "remove_predators", "clean", "new_tag", "work_last")

# What opens visits of its own, beside those by age: as `what` of an event's entry (docs/entries.md).
EVENTS = ("heat", "storm", "disease", "other")
SINCE = ("start", "end")

# Names that entries themselves use (docs/entries.md): a field of that name would be read as something else.
# fmt: off
ROW_NAMES = frozenset({
    "row", "plot", "coral", "tag", "position", "genotype", "lot", "line", "searched", "note",
    "part", "parts", "alive", "dead", "missing", "count", "done", "photo",
})
HEAD_NAMES = frozenset({
    "session", "role", "protocol", "site", "day", "recorder", "typed_by", "buddy", "dive", "round", "visit", "practice",
    "import", "note", "types", "repeat",
})
ENVELOPE_NAMES = frozenset({"v", "kind", "device", "seq", "at", "replaces", "values"})
# fmt: on
RESERVED = ROW_NAMES | HEAD_NAMES | ENVELOPE_NAMES
# A planting's own names, which a protocol may take up to say how they are asked for (`method` and its list, say).
PLANTING_NAMES = frozenset({"points", "size_cm", "method"})


@dataclass(frozen=True, slots=True)
class Choice:
    """One value of a list: its name in entries, the programme's short code on slates, what people read."""

    value: str
    code: str
    label: Mapping[str, str]
    was: tuple[str, ...] = ()
    asks: tuple[str, ...] = ()
    """Which hands a living coral needs of which this holds: some of `HANDS`."""


@dataclass(frozen=True, slots=True)
class Field:
    """One thing that is recorded, of a coral, of a counted row, or once a session.

    `ordered` says that the order of `values` is one of degree, so that near values differ less than far ones. `unit` is a UCUM
    code. `only_where` maps names of earlier fields to the values with which this one applies. `min` and `max` refuse; a percent
    lies in 0 to 100 unless it says otherwise. `step` is what one press of a key adds and refuses nothing. `was` are names of
    this field in earlier versions.
    """

    name: str
    of: Of
    kind: Kind
    label: Mapping[str, str]
    role: str | None
    required: bool
    help: Mapping[str, str]
    values: tuple[Choice, ...]
    ordered: bool
    unit: str | None
    only_where: Mapping[str, tuple[str, ...]]
    agree_within: Decimal | None
    term: str | None
    min: Decimal | None
    max: Decimal | None
    step: Decimal | None
    example: str | None
    was: tuple[str, ...]

    @property
    def unit_told(self) -> str:
        """Its unit as people write it; empty where it has none, and where it counts things."""
        return _UNITS.get(self.unit or "", self.unit or "")

    def choice(self, value: str) -> Choice | None:
        """The choice of that name; names of earlier versions are not looked at."""
        return next((choice for choice in self.values if choice.value == value), None)


@dataclass(frozen=True, slots=True)
class Round:
    """A planned time of visiting, in days since planting; its window is from `early_days` to `late_days`."""

    name: str
    age_days: int
    early_days: int
    late_days: int

    def holds(self, age_days: int) -> bool:
        """Whether a visit at that age belongs to this round; both ends do."""
        return self.early_days <= age_days <= self.late_days


@dataclass(frozen=True, slots=True)
class EventVisit:
    """A visit after a storm, a heat wave …: its window in days since the event's first day, or (`since` "end") its last."""

    event: str
    label: Mapping[str, str]
    since: str
    opens_days: int
    closes_days: int


@dataclass(frozen=True, slots=True)
class Effort:
    """How many minutes a diver works at a plot, where nothing better is known: so many for the plot, for each
    coral that is looked at, and for each that is given a hand.
    """

    minutes_per_plot: Decimal
    minutes_per_coral: Decimal
    minutes_per_hand: Decimal

    def minutes(self, corals: int) -> Decimal:
        return self.minutes_per_plot + corals * self.minutes_per_coral


@dataclass(frozen=True, eq=False)
class Protocol:
    """One protocol file. Two are equal if their bytes are."""

    name: str
    version: int
    title: Mapping[str, str]
    same_visit_days: int
    last_seen: Literal["hidden", "shown"]
    blind_repeats: Decimal | None
    fields: tuple[Field, ...]
    all_well: Mapping[str, Any]
    rounds: tuple[Round, ...]
    event_visits: tuple[EventVisit, ...]
    effort: Effort | None
    plausible: Mapping[str, Decimal]
    digest: str
    body: bytes

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Protocol) and self.digest == other.digest

    def __hash__(self) -> int:
        return hash(self.digest)

    def field(self, name: str) -> Field | None:
        """The field of that name; names of earlier versions are not looked at."""
        return self._by_name.get(name)

    def with_role(self, role: str) -> Field | None:
        """The field that answers for a role ("status", "size", …); there is never more than one."""
        return self._by_role.get(role)

    def fields_of(self, of: Of) -> tuple[Field, ...]:
        """The fields recorded of a "coral", of a "count" row or of a session's "head", in the order of the file."""
        return tuple(field for field in self.fields if field.of == of)

    # A fold asks for a role several times an observation.
    @cached_property
    def _by_role(self) -> Mapping[str, Field]:
        return {field.role: field for field in self.fields if field.role}

    @cached_property
    def _by_name(self) -> Mapping[str, Field]:
        return {field.name: field for field in self.fields}
