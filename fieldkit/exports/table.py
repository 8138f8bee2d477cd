"""A table for other programs: its columns, what each means, and its rows. One name means the same in every table."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Literal, TypeAlias

from fieldkit.protocol import Field

Cell: TypeAlias = str | int | Decimal | date | bool | None
Kind: TypeAlias = Literal["text", "number", "whole", "day", "flag"]
Row: TypeAlias = Mapping[str, Cell]


@dataclass(frozen=True)
class Column:
    """One column.

    Attributes:
        name: its heading.
        kind: `text` (str), `number` (Decimal), `whole` (int), `day` (date, a civil day) or `flag` (bool). A cell without a
            value is None: nobody looked, or nobody knows.
        unit: a UCUM code; empty where there is none.
        field: the protocol's field that it holds, if it holds one.
        counts: of a field that counts several things, the one that it holds.
    """

    name: str
    kind: Kind = "text"
    unit: str = ""
    field: Field | None = None
    counts: str | None = None


@dataclass(frozen=True)
class Table:
    """One table; its rows are made as they are asked for, and can be asked for again."""

    name: str
    columns: tuple[Column, ...]
    made: Callable[[], Iterable[Row]]

    def rows(self) -> Iterable[Sequence[Cell]]:
        """The cells of each row, in the order of the columns."""
        names = [column.name for column in self.columns]
        return (tuple(row.get(name) for name in names) for row in self.made())


def columns(*told: str | tuple[Any, ...]) -> tuple[Column, ...]:
    """Columns from their names, or from (name, kind) and (name, kind, unit)."""
    return tuple(Column(one) if isinstance(one, str) else Column(*one) for one in told)
