"""What every column of every table means: the data dictionary that goes out with them, in the reader's language."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from fieldkit import messages
from fieldkit.exports.table import Column, Row, Table, columns


def dictionary(tables: Iterable[Table], language: str) -> Table:
    """A row each column: what it means, its kind and unit, its values, and what exports to other standards call it."""
    rows = [_row(table, column, language) for table in tables for column in table.columns]
    return Table("dictionary", columns("table", "column", "kind", "unit", "meaning", "values", "term"), lambda: rows)


def _row(table: Table, column: Column, language: str) -> Row:
    return {
        "table": table.name,
        "column": column.name,
        "kind": messages.text(f"exports.kind_{column.kind}", language),
        "unit": column.unit or None,
        "meaning": meaning(column, language),
        "values": _values(column, language) or None,
        "term": (column.field.term or column.field.name) if column.field else None,
    }


def meaning(column: Column, language: str) -> str:
    """What a column says, in a sentence: of a protocol's field the words of the programme itself."""
    field = column.field
    if field is None:
        return messages.text(f"exports.column_{column.name}", language)
    counted = field.choice(column.counts) if column.counts else None
    label = _in(field.label, language) + (f": {_in(counted.label, language)}" if counted else "")
    return " ".join(filter(None, (f"{label}.", _in(field.help, language))))


def _values(column: Column, language: str) -> str:
    if column.field is None or column.counts:
        return ""
    return "; ".join(f"{choice.value} = {_in(choice.label, language)}" for choice in column.field.values)


def _in(texts: Mapping[str, str], language: str) -> str:
    """The text in that language, or in any there is."""
    return texts.get(language) or next(iter(texts.values()), "")
