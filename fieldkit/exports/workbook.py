"""Tables as a workbook (Office Open XML): a sheet each, days as days and numbers as numbers, and no formula anywhere."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Any, BinaryIO

from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter

from fieldkit.exports.errors import ExportError
from fieldkit.exports.table import Cell, Table
from fieldkit.reports.tables import FORMULA

MOST_ROWS = 1_048_576
"""Rows of a sheet, its heading with them (ECMA-376; from memory)."""
_WIDEST, _NARROWEST = 40, 8  # signs; chosen by us


def write(file: BinaryIO, tables: Iterable[Table]) -> None:
    """A sheet each table, headings kept in sight.

    Raises:
        ExportError: a table has more rows than a sheet can.
    """
    book = Workbook(write_only=True)
    for table in tables:
        sheet = book.create_sheet(table.name)
        sheet.freeze_panes = "A2"
        for place, column in enumerate(table.columns, 1):
            sheet.column_dimensions[get_column_letter(place)].width = min(max(len(column.name) + 2, _NARROWEST), _WIDEST)
        sheet.append([_heading(sheet, column.name) for column in table.columns])
        for number, row in enumerate(table.rows(), 2):
            if number > MOST_ROWS:
                raise ExportError.of("exports.sheet_too_long", table=table.name, most=MOST_ROWS - 1)
            sheet.append([_cell(sheet, cell) for cell in row])
    book.save(file)


def _heading(sheet: Any, text: str) -> Any:
    cell = _text(sheet, text)
    cell.font = Font(bold=True)
    return cell


def _cell(sheet: Any, value: Cell) -> Any:
    """What could be taken for a formula is marked as a text, in its type and in its style: it stays one when it is edited."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Decimal):
        return float(value)
    if not isinstance(value, str):
        return value
    text = ILLEGAL_CHARACTERS_RE.sub("", value)
    return _text(sheet, text) if text.startswith(FORMULA) else text


def _text(sheet: Any, text: str) -> Any:
    cell: Any = WriteOnlyCell(sheet, value=text)
    cell.data_type = "s"
    cell.quotePrefix = True
    return cell
