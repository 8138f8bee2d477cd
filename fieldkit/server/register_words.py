"""How the register's fields and values are written for a person. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fieldkit.protocol.number import number
from fieldkit.register.fields import REGISTER, RegisterField, species_named
from fieldkit.server.reader import DASH, Reader


@dataclass(frozen=True)
class RegisterWords:
    """The words for one reader.

    Attributes:
        names: of each kind of registered thing the names by id.
    """

    reader: Reader
    names: Mapping[str, Mapping[str, str]]

    def kind(self, kind: str) -> str:
        return self.reader.text(f"programme.kind_{kind}")

    def kinds(self, kind: str) -> str:
        return self.reader.text(f"programme.kinds_{kind}")

    def field(self, name: str) -> str:
        return self.reader.text(f"programme.field_{name}")

    def value(self, field: RegisterField | None, value: Any) -> str:
        """A value as people read it; an absent one is a dash, and what is of no known form stands as it is."""
        if value is None or value == "":
            return DASH
        if field is None:
            return str(value)
        if field.kind == "thing":
            return self.names.get(field.of, {}).get(str(value), f"…{str(value)[-4:]}")
        if field.kind == "choice":
            return self.reader.text(f"programme.value_{value}") if value in field.values else str(value)
        if field.kind == "day":
            return self.reader.day(str(value))
        if field.kind == "limits" and isinstance(value, Mapping):
            return self.reader.list([f"{species_named(key)} {self._figure(most)}" for key, most in value.items()])
        if field.kind == "number":
            # A position is written as files have it: its decimals tell how far it is known.
            figure = str(value) if field.unit == "°" else self._figure(value)
            return f"{figure}{'' if field.unit == '°' else ' ' if field.unit else ''}{field.unit}"
        return str(value)

    def told(self, kind: str, values: Mapping[str, Any]) -> list[tuple[str, str]]:
        """All that is known of a thing, field by field in their order."""
        return [
            (self.field(field.name), self.value(field, values[field.name]))
            for field in REGISTER[kind].fields
            if field.name in values
        ]

    def change(self, kind: str, name: str, before: Any, after: Any) -> str:
        """What became of one field: "Depth: 5 m → 6 m"."""
        field = REGISTER[kind].field(name)
        called = self.field(name) if field else name
        if before is None:
            return f"{called}: {self.value(field, after)}"
        return f"{called}: {self.value(field, before)} → {self.value(field, after)}"

    def _figure(self, value: Any) -> str:
        known = number(str(value))
        return str(value) if known is None else self.reader.decimal(known)
