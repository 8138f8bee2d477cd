"""What fields, values and the things that figures are told by are called, in the reader's language. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fieldkit.errors import Fault
from fieldkit.protocol import Choice, Field, Protocol, number
from fieldkit.protocol.protocol import MEASURED
from fieldkit.server.reader import Reader
from fieldkit.settle.camera import offset_of

# Names that every entry may use, whatever the protocol; the protocol gives words for all others.
# fmt: off
_OF_EVERY_PROTOCOL = (
    "alive", "dead", "missing", "genotype", "note", "part", "parts", "searched", "count",
    "recorder", "typed_by", "day", "dive", "round", "site",
)
# fmt: on


@dataclass(frozen=True)
class Names:
    """The words of the programme's protocols; where they have none, the name as it stands in the data."""

    reader: Reader
    protocols: Sequence[Protocol] = ()
    things: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """Of kinds of registered things (site, genotype) the name of each id."""

    # groups of figures

    def grouping(self, by: str) -> str:
        """What a table by these labels is called: "Site × Genotype"; by none: all corals."""
        names = [self.reader.text(f"pages.label_{name}") for name in by.split(",")] if by else []
        return " × ".join(names) or self.reader.text("pages.all_corals")

    def group(self, group: Mapping[str, str]) -> str:
        """What one group is called."""
        return " · ".join(self.label(name, value) for name, value in group.items()) or self.reader.text("pages.all_corals")

    def label(self, name: str, value: str) -> str:
        """How one value of a label is written."""
        if not value:
            return self.reader.text("pages.not_known")
        return self.reader.day(value) if name == "cohort" else self.value(name, value)

    # fields of observations

    def field(self, name: str) -> str:
        """What a field is called."""
        known = self._field(name)
        if known:
            return self._in_language(known.label) or name
        return self.reader.text(f"pages.field_{name}") if name in _OF_EVERY_PROTOCOL else name

    def place(self, name: str) -> tuple[int, str]:
        """Where a field stands in the protocol, to put fields in its order; those of no protocol come last."""
        order = [one.name for protocol in self.protocols for one in protocol.fields]
        return (order.index(name) if name in order else len(order), name)

    def choices(self, name: str) -> list[tuple[str, str]]:
        """What a field that takes one of a list can be: pairs of value and text."""
        known = self._field(name)
        listed = known.values if known and known.kind == "choice" else ()
        return [(choice.value, self._in_language(choice.label) or choice.value) for choice in listed]

    def is_measured(self, name: str) -> bool:
        """Whether a field takes any number."""
        known = self._field(name)
        return known.kind in MEASURED if known else name in _OF_EVERY_PROTOCOL

    def status(self) -> str:
        """The field that says alive, dead or missing."""
        return next((known.name for protocol in self.protocols if (known := protocol.with_role("status"))), "status")

    def is_status(self, name: str) -> bool:
        """Whether it says alive, dead or missing."""
        known = self._field(name)
        return known is not None and known.role == "status"

    def value(self, name: str, value: Any) -> str:
        """How a value of a field is written; an absent one is a dash."""
        if isinstance(value, list):
            return self.reader.list([self.value(name, one) for one in value])
        if isinstance(value, Mapping):
            return self.reader.list([f"{self.value(name, one)} {self._figure(count)}" for one, count in value.items()])
        if value is None:
            return self.reader.day(None)
        if name == "day":
            return self.reader.day(str(value))
        if name in self.things:
            return self.things[name].get(str(value), str(value))
        choice = self._choice(name, str(value))
        if choice:
            return self._in_language(choice.label) or choice.value
        known = self._field(name)
        if known and known.kind not in MEASURED:
            return str(value)
        return f"{self._figure(value)} {known.unit_told if known else ''}".rstrip()

    def why(self, fault: Fault) -> str:
        """The sentence of a fault, the fields and days that it names as people write them."""
        # A count stays one: it chooses the plural.
        data = {name: value if type(value) is int else self._told(name, str(value)) for name, value in fault.data.items()}
        return Fault(fault.key, data).text(self.reader.language)

    def offset(self, offset_s: str) -> str:
        """A difference of clocks as people write it: +10:47:20."""
        seconds = offset_of(offset_s) or 0
        minutes, rest = divmod(abs(seconds), 60)
        return f"{'−' if seconds < 0 else '+'}{minutes // 60}:{minutes % 60:02}:{rest:02}"

    def answer(self, answer: str) -> str:
        """What an answer to a matter is called."""
        return self.reader.text(f"pages.answer_{answer}")

    def _told(self, name: str, value: str) -> str:
        if name in ("answer", "answers"):
            return self.reader.list([self.answer(one) for one in value.split(", ")])
        if name == "fields":
            return self.reader.list([self.field(one) for one in value.split(", ")])
        if name in ("day", "days") and value:
            return self.reader.list([self.reader.day(one) for one in value.split(", ")])
        return value

    def _figure(self, value: Any) -> str:
        known = number(str(value))
        return str(value) if known is None else self.reader.decimal(known)

    def _field(self, name: str) -> Field | None:
        return next((found for protocol in self.protocols if (found := protocol.field(name))), None)

    def _choice(self, name: str, value: str) -> Choice | None:
        fields = (protocol.field(name) for protocol in self.protocols)
        return next((choice for one in fields if one and (choice := one.choice(value))), None)

    def _in_language(self, label: Mapping[str, str]) -> str | None:
        return label.get(self.reader.language) or label.get("en") or next(iter(label.values()), None)
