"""Tables as Parquet, in one ZIP: typed columns for analysis, each with its unit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal
from importlib import import_module
from typing import Any, BinaryIO

from fieldkit.exports.archive import archive, member
from fieldkit.exports.errors import ExportError
from fieldkit.exports.table import Cell, Kind, Table

_TYPES: Mapping[Kind, str] = {"text": "string", "number": "float64", "whole": "int64", "day": "date32", "flag": "bool_"}


def write(file: BinaryIO, tables: Iterable[Table]) -> None:
    """A file each table.

    Raises:
        ExportError: the library that writes Parquet is not installed.
    """
    with archive(file) as packed:
        for table in tables:
            with member(packed, f"{table.name}.parquet") as one:
                write_one(one, table)


def write_one(file: Any, table: Table) -> None:
    """One table; units stand in the metadata of its columns. Numbers are 64-bit floats."""
    arrow = _library()
    fields = [
        arrow.field(
            column.name,
            getattr(arrow, _TYPES[column.kind])(),
            metadata={"unit": column.unit} if column.unit else None,
        )
        for column in table.columns
    ]
    rows = [tuple(map(_plain, row)) for row in table.rows()]
    cells = zip(*rows, strict=True) if rows else [()] * len(fields)
    arrays = [arrow.array(list(column), type=field.type) for column, field in zip(cells, fields, strict=True)]
    import_module("pyarrow.parquet").write_table(arrow.Table.from_arrays(arrays, schema=arrow.schema(fields)), file)


def _plain(cell: Cell) -> Cell | float:
    return float(cell) if isinstance(cell, Decimal) else cell


def _library() -> Any:
    try:
        return import_module("pyarrow")
    except ImportError as error:
        raise ExportError.of("exports.needs_pyarrow") from error
