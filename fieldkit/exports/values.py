"""What was observed, as cells: a column for each field of the protocols, whatever version an observation was written under."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from fieldkit.exports.table import Cell, Column, Kind
from fieldkit.protocol import Field, Protocol, number, renamed
from fieldkit.protocol.protocol import Of

_KINDS: Mapping[str, Kind] = {"percent": "number", "number": "number", "flag": "flag"}

OTHER = "other"
"""The column of what no field of a protocol here has a cell for: `name=value`, with semicolons between."""


class Recorded:
    """The columns of the fields that some protocols record of a coral, a counted row or a session."""

    def __init__(self, protocols: Iterable[Protocol], of: Of, beside: Iterable[Column]) -> None:
        """
        Args:
            protocols: the newest version of each; of two fields of one name the first one's is asked what it means.
            beside: columns that the table has already; a field of such a name gets another.
        """
        self._taken = {column.name for column in beside}
        self._fields: dict[str, Field] = {}
        for protocol in protocols:
            for field in protocol.fields_of(of):
                self._fields.setdefault(field.name, field)

    @property
    def columns(self) -> tuple[Column, ...]:
        """A column each, and the last for what none of them can hold."""
        own = [
            replace(column, name=self._heading(column.name)) for field in self._fields.values() for column in _columns(field)
        ]
        return (*own, Column(OTHER))

    def _heading(self, name: str) -> str:
        return f"noted_{name}" if name in self._taken else name

    def cells(self, values: Mapping[str, Any]) -> dict[str, Cell]:
        """What was recorded, by column; what has no column that can hold it stands under `OTHER`."""
        told: dict[str, Cell] = {}
        others = []
        for name, value in renamed(self._fields.values(), values).items():
            field = self._fields.get(name)
            found = _cells(field, value) if field else None
            if found is None:
                others.append(f"{name}={_text(value)}")
            else:
                told |= {self._heading(column): cell for column, cell in found.items()}
        return told | ({OTHER: "; ".join(sorted(others))} if others else {})


def _columns(field: Field) -> list[Column]:
    if field.kind == "tally":
        return [Column(f"{field.name}_{choice.value}", "whole", "1", field, choice.value) for choice in field.values]
    return [Column(field.name, _KINDS.get(field.kind, "text"), field.unit or "", field)]


def _cells(field: Field, value: Any) -> dict[str, Cell] | None:
    """None where the columns of the field cannot hold it."""
    if field.kind == "tally":
        counts = {f"{field.name}_{name}": number(count) for name, count in value.items()} if isinstance(value, Mapping) else {}
        known = {choice.value for choice in field.values}
        fit = counts and all(name in known for name in value) and all(one is not None for one in counts.values())
        return {name: int(one) for name, one in counts.items() if one is not None} if fit else None
    if field.kind in ("percent", "number"):
        found = number(value)
        return None if found is None else {field.name: found}
    if field.kind == "flag":
        return {field.name: value == "yes"} if value in ("yes", "no") else None
    return {field.name: _text(value)}


def _text(value: Any) -> str:
    """Several values with semicolons between, as an import reads them."""
    if isinstance(value, Mapping):
        return ";".join(f"{name}:{count}" for name, count in value.items())
    return ";".join(map(str, value)) if isinstance(value, (list, tuple)) else str(value)
