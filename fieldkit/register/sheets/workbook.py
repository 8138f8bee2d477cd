"""Workbooks (XLSX, ECMA-376): the stored values of one tab. Reads only; formulas, macros and links are never followed.

A streaming reader gives the values; it passes over two things that change what a person sees, so they are read beside it:
a merged cell stands in every row that it covers, and a formula without a stored value is not a blank.
"""

from __future__ import annotations

import io
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any
from xml.etree import ElementTree

from fieldkit.errors import Fault
from fieldkit.protocol.spelling import nearest
from fieldkit.register.sheets.account import listed
from fieldkit.register.sheets.errors import SheetError
from fieldkit.register.sheets.sheet import ERRORS, Cell, Row, Unknown

if TYPE_CHECKING:
    from openpyxl.reader.excel import ExcelReader

MAX_UNPACKED = 512 * 1024 * 1024
"""A zip archive of 100 MB can unpack to a hundred gigabytes of nothing. Chosen by us."""
MAX_ROW = 1_048_576  # of the format; a damaged row number beyond it would be walked up to, row by row

# What zip, XML and openpyxl raise for damaged files. openpyxl checks little: whatever is not where it belongs
# turns up as one of the built-in errors.
_DAMAGED = (
    *(zipfile.BadZipFile, zlib.error, ElementTree.ParseError, EOFError, OSError, NotImplementedError, RuntimeError),
    *(KeyError, IndexError, ValueError, TypeError, AttributeError, ArithmeticError, AssertionError),
)
_PROPERTIES = "docProps/core.xml"
_PARTS_TO_READ = re.compile(rb"<(?:\w+:)?(?:f[\s/>]|mergeCell\s)")
_LITERAL = re.compile(r'"[^"]*"|\[[^\]]*\]|\\.')


@dataclass
class _Beside:
    """What the streaming reader passes over."""

    formulas: set[tuple[int, int]] = field(default_factory=set)
    """Row and column, both from 1, of formulas whose value is not stored."""
    merged: list[tuple[int, int, int]] = field(default_factory=list)
    """Column, first and last row of the left column of each merged cell that spans rows."""


@dataclass(frozen=True)
class ReadTab:
    """What one tab holds: its rows, what a person should know about them, and when the file was last saved."""

    name: str
    rows: tuple[Row, ...]
    remarks: tuple[Fault, ...]
    saved_on: date | None


def read_workbook(body: bytes, *, file: str, sheet: str | None) -> ReadTab:
    """One tab of a workbook.

    Raises:
        SheetError: damaged, too large, or `sheet` is not there or must be named.
    """
    with _damage_told(file):
        return _read(body, file, sheet)


def filled_tabs(body: bytes, *, file: str) -> list[str]:
    """The names of the tabs that hold something, in their order.

    Raises:
        SheetError: damaged or too large.
    """
    with _damage_told(file):
        reader = _opened(body, file)
        with reader.archive:
            return [tab.title for tab in reader.wb.worksheets if any(_rows(tab, file))]


@contextmanager
def _damage_told(file: str) -> Iterator[None]:
    try:
        with warnings.catch_warnings():
            # openpyxl warns of parts that it does not keep when it saves; here nothing is saved.
            warnings.simplefilter("ignore")
            yield
    except SheetError:
        raise
    except _DAMAGED as error:
        raise SheetError.of("sheets.damaged_workbook", file=file) from error


def _opened(body: bytes, file: str) -> ExcelReader:
    from openpyxl.reader.excel import ExcelReader  # noqa: PLC0415 - large: not in the memory of a server that takes in notes

    with zipfile.ZipFile(io.BytesIO(body)) as archive:
        if sum(part.file_size for part in archive.infolist()) > MAX_UNPACKED:
            raise SheetError.of("sheets.too_large", file=file, most=MAX_UNPACKED // 1024**2)
    reader = ExcelReader(io.BytesIO(body), read_only=True, data_only=True, keep_links=False)
    reader.read()
    return reader


def _read(body: bytes, file: str, sheet: str | None) -> ReadTab:
    reader = _opened(body, file)
    parts = {tab.name: rel.target for tab, rel in reader.parser.find_sheets()}
    with reader.archive:
        found = {tab.title: tab for tab in reader.wb.worksheets}
        if sheet is not None and sheet not in found:
            raise SheetError.of("sheets.no_such_tab", file=file, value=sheet, nearest=nearest(sheet, found))
        filled = [name for name in ([sheet] if sheet else found) if any(_rows(found[name], file))]
        if len(filled) != 1:
            raise SheetError.of("sheets.which_tab" if filled else "sheets.empty", file=file, tabs=", ".join(filled))
        name = filled[0]
        rows, n = _completed(dict(_rows(found[name], file)), _read_beside(reader.archive.read(parts[name])))
        coloured = _coloured(found[name]) if _has_colours(reader) else ()
    remarks = [Fault("sheets.merged_cells", {"n": n})] if n else []
    if len(coloured) > 1:  # headings alone are coloured everywhere
        remarks.append(Fault("sheets.coloured_cells", {"n": len(coloured), "rows": listed(coloured)}))
    return ReadTab(
        name, tuple(Row(number, tuple(cells)) for number, cells in sorted(rows.items())), tuple(remarks), _saved_on(reader)
    )


def _saved_on(reader: ExcelReader) -> date | None:
    """The day after the one that the file names: it names it by Greenwich, and elsewhere it may be tomorrow already."""
    modified = reader.wb.properties.modified if _PROPERTIES in reader.valid_files else None
    return modified.date() + timedelta(days=1) if isinstance(modified, datetime) else None


def _has_colours(reader: ExcelReader) -> bool:
    return any(getattr(fill, "fill_type", None) == "solid" for fill in getattr(reader.wb, "_fills", ()))


def _coloured(tab: Any) -> list[int]:
    """The rows in which a cell that holds something has a colour of its own."""
    return [
        number
        for number, cells in enumerate(tab.iter_rows(), 1)
        if any(cell.value is not None and cell.fill.fill_type == "solid" for cell in cells)
    ]


def _rows(tab: Any, file: str) -> Iterator[tuple[int, list[Cell]]]:
    """The rows that hold anything, with their numbers."""
    tab.reset_dimensions()  # the size that a file states may be wrong, and rows beyond it would be lost without a word
    for number, cells in enumerate(tab.iter_rows(), 1):
        if number > MAX_ROW:
            raise SheetError.of("sheets.damaged_workbook", file=file)
        row = _trimmed([_cell(cell) for cell in cells])
        if row:
            yield number, row


def _trimmed(cells: list[Cell]) -> list[Cell]:
    while cells and (cells[-1] == "" or (isinstance(cells[-1], str) and not cells[-1].strip())):
        cells.pop()
    return cells


def _cell(cell: Any) -> Cell:
    value = cell.value
    if value is None or isinstance(value, str):
        return Unknown(value) if value in ERRORS else value or ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, (int, float)):
        return _number(value, "%" in _LITERAL.sub("", cell.number_format))
    if isinstance(value, datetime):
        return _day(value.date(), _LITERAL.sub("", cell.number_format).lower())
    return str(value)


def _number(value: float, is_percent: bool) -> Decimal:
    # 15 significant digits are what a spreadsheet program shows of a double at most: 12.3, not 12.300000000000001.
    number = Decimal(f"{value:.15g}")
    return (number * 100).normalize() if is_percent else number


def _day(day: date, number_format: str) -> Cell:
    """A day, or the text of a month or year where no more than that is shown: the program adds a day of its own."""
    if "d" in number_format or "y" not in number_format:
        return day
    return f"{day:%Y-%m}" if "m" in number_format else f"{day:%Y}"


def _read_beside(xml: bytes) -> _Beside:
    from openpyxl.utils.cell import coordinate_to_tuple, range_boundaries  # noqa: PLC0415 - as above

    beside = _Beside()
    if not _PARTS_TO_READ.search(xml):  # as nearly always: the search costs a fiftieth of the walk
        return beside
    for _, element in ElementTree.iterparse(io.BytesIO(xml)):
        tag = element.tag.rpartition("}")[2]
        if tag == "c":
            if _is_formula_without_value(element):
                beside.formulas.add(coordinate_to_tuple(element.attrib["r"]))
        elif tag == "row":
            element.clear()  # keeps memory flat
        elif tag == "mergeCell":
            column, first, _, last = range_boundaries(element.attrib["ref"])
            if column is not None and first is not None and last is not None and last > first:
                beside.merged.append((column, first, last))
    return beside


def _is_formula_without_value(cell: ElementTree.Element) -> bool:
    tags = {inner.tag.rpartition("}")[2]: inner for inner in cell}
    return "f" in tags and ("v" not in tags or not tags["v"].text) and cell.get("t") != "str"


def _completed(rows: dict[int, list[Cell]], beside: _Beside) -> tuple[dict[int, list[Cell]], int]:
    """The rows with formulas without a value marked, and merged cells in every row that they cover; how many were filled in."""
    completed = {number: list(cells) for number, cells in rows.items()}
    for number, column in beside.formulas:
        _put(completed.setdefault(number, []), column, Unknown("="))
    filled = 0
    for column, first, last in beside.merged:
        value = _at(completed.get(first, []), column)
        for number in range(first + 1, last + 1) if value else ():
            # Only rows that hold something: a merged cell may reach down to the foot of the sheet.
            if number in completed and not _at(completed[number], column):
                _put(completed[number], column, value)
                filled += 1
    return completed, filled


def _at(cells: list[Cell], column: int) -> Cell:
    return cells[column - 1] if column <= len(cells) else ""


def _put(cells: list[Cell], column: int, value: Cell) -> None:
    cells.extend([""] * (column - len(cells)))
    cells[column - 1] = value
