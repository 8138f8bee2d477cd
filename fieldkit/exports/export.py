"""One door for every form: what is asked for goes into a file, and what could not is told."""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from typing import Any, BinaryIO

from fieldkit import messages
from fieldkit.base import Base, View
from fieldkit.exports.dictionary import dictionary
from fieldkit.exports.errors import ExportError
from fieldkit.exports.programme import Programme
from fieldkit.exports.scope import Scope
from fieldkit.exports.table import Table
from fieldkit.exports.tables import tables

FORMS: Mapping[str, str] = {
    "csv": ".zip",
    "xlsx": ".xlsx",
    "darwin-core": ".zip",
    "geojson": ".geojson",
    "gpx": ".gpx",
    "parquet": ".zip",
}
"""Each form, and how its files end."""
_ALONE = {"csv": ".csv", "parquet": ".parquet"}
"""Forms in which one table can go out alone."""


def suffix_of(form: str, table: str | None = None) -> str:
    """How a file of that form ends.

    Raises:
        ExportError: there is no such form, or it has no table alone.
    """
    if form not in FORMS:
        raise ExportError.of("exports.no_form", form=form, known=", ".join(FORMS))
    if table is not None and form not in _ALONE:
        raise ExportError.of("exports.no_table_alone", form=form, known=", ".join(_ALONE))
    return FORMS[form] if table is None else _ALONE[form]


def table_names(base: Base, view: View) -> tuple[str, ...]:
    """The tables there are."""
    return (*(table.name for table in tables(Programme(base, view, Scope(), messages.DEFAULT))), "dictionary")


def export(
    base: Base,
    view: View,
    file: BinaryIO,
    form: str,
    scope: Scope | None = None,
    *,
    table: str | None = None,
    language: str = messages.DEFAULT,
) -> Mapping[str, int]:
    """Write what a scope holds.

    Args:
        file: where to; it can be sought in.
        form: one of `FORMS`.
        table: one table alone, of the forms that can.
        language: of what is said about columns and places.

    Returns:
        How much could not stand in it, by reason: observations that are `unsettled` or of `no_species`, sites with
        `no_position` to be told.

    Raises:
        ExportError: form, table or scope are not known, or the form cannot hold it. What was written so far is of no use then.
    """
    suffix_of(form, table)
    programme = Programme(base, view, scope or Scope(), language)
    # What writes a form is loaded when it is asked for: what it writes with is large, and most days nobody does.
    writer: Any = import_module(f"fieldkit.exports.{_WRITERS[form]}")
    if form not in _OF_TABLES:
        left_out: Mapping[str, int] = writer.write(file, programme)
        return left_out
    chosen = _tables(programme, table)
    if table is None:
        writer.write(file, chosen)
    else:
        writer.write_one(file, chosen[0])
    return {}


_WRITERS = {
    "csv": "csv_files",
    "xlsx": "workbook",
    "darwin-core": "darwin_core",
    "geojson": "geojson",
    "gpx": "gpx",
    "parquet": "parquet",
}
_OF_TABLES = ("csv", "xlsx", "parquet")


def _tables(programme: Programme, name: str | None) -> list[Table]:
    """All tables and their dictionary, or the one of that name."""
    every = tables(programme)
    every = (*every, dictionary(every, programme.language))
    if name is None:
        return list(every)
    chosen = [table for table in every if table.name == name]
    if not chosen:
        raise ExportError.of("exports.no_table", table=name, known=", ".join(table.name for table in every))
    return chosen
