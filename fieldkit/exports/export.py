"""One door for every form: what is asked for goes into a file, and what could not is told."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
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


@dataclass(frozen=True)
class Form:
    """A form in which data goes out.

    Attributes:
        suffix: how its files end.
        module: of this room, what writes it: `write(file, tables)` where it holds tables, else `write(file, programme)`.
        holds_tables: whether it does.
        alone: how the file of one table alone ends; empty where there is none. Then `write_one(file, table)` writes it.
    """

    suffix: str
    module: str
    holds_tables: bool = False
    alone: str = ""


FORMS: Mapping[str, Form] = {
    "csv": Form(".zip", "csv_files", holds_tables=True, alone=".csv"),
    "xlsx": Form(".xlsx", "workbook", holds_tables=True),
    "darwin-core": Form(".zip", "darwin_core"),
    "geojson": Form(".geojson", "geojson"),
    "gpx": Form(".gpx", "gpx"),
    "parquet": Form(".zip", "parquet", holds_tables=True, alone=".parquet"),
}


def form_of(name: str, table: str | None = None) -> Form:
    """The form of that name.

    Raises:
        ExportError: there is none, or it has no table alone.
    """
    if name not in FORMS:
        raise ExportError.of("exports.no_form", form=name, known=", ".join(FORMS))
    if table is not None and not FORMS[name].alone:
        alone = ", ".join(one for one, form in FORMS.items() if form.alone)
        raise ExportError.of("exports.no_table_alone", form=name, known=alone)
    return FORMS[name]


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
        language: of what is said about columns, places and the whole.

    Returns:
        How much could not stand in it, by reason: observations that are `unsettled` or of `no_species`, sites with
        `no_position` to be told.

    Raises:
        ExportError: form, table or scope are not known, or the form cannot hold it. What was written so far is of no use then.
    """
    chosen = form_of(form, table)
    # What writes a form is loaded when it is asked for: what it writes with is large, and most days nobody does.
    writer: Any = import_module(f"fieldkit.exports.{chosen.module}")
    programme = Programme(base, view, scope or Scope(), language)
    if not chosen.holds_tables:
        left_out: Mapping[str, int] = writer.write(file, programme)
        return left_out
    if table is None:
        writer.write(file, _tables(programme))
    else:
        writer.write_one(file, _named(_tables(programme), table))
    return {}


def _tables(programme: Programme) -> list[Table]:
    """All tables, and last their dictionary."""
    every = tables(programme)
    return [*every, dictionary(every, programme.language)]


def _named(every: list[Table], name: str) -> Table:
    for table in every:
        if table.name == name:
            return table
    raise ExportError.of("exports.no_table", table=name, known=", ".join(table.name for table in every))
