"""The reading edge: a spreadsheet file becomes a `Sheet`, or is refused as a whole. Reads only; nothing in a file is ever run.

The file's bytes say what it is, not its suffix: a workbook (XLSX) begins as a zip archive, everything else is taken for
text with separators (CSV).
"""

from __future__ import annotations

import codecs
import csv
import io
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

from fieldkit.errors import Fault
from fieldkit.ledger import sha256
from fieldkit.register.sheets.errors import SheetError
from fieldkit.register.sheets.sheet import ERRORS, Row, Sheet, Unknown
from fieldkit.register.sheets.workbook import ReadTab, filled_tabs, read_workbook

MAX_BYTES = 100 * 1024 * 1024
"""Ten times what the largest programme known to us keeps in one file. Chosen by us."""
MAX_ROWS = 300_000
MAX_COLUMNS = 1_000
MAX_CELL = 32_767  # what a cell of a workbook may hold; a longer one in a CSV file is an unclosed quotation mark

_ZIP = b"PK\x03\x04"
_OLE = b"\xd0\xcf\x11\xe0"  # workbooks before 2007, and those locked with a password
_SEPARATORS = ",;\t"
_SNIFFED_ROWS = 100


def read_sheet(path: Path, sheet: str | None = None) -> Sheet:
    """One sheet of a file.

    Args:
        path: a CSV file (UTF-8, UTF-16 or Windows-1252; comma, semicolon or tab) or a workbook (XLSX).
        sheet: the name of the tab; needed where a workbook has several that hold anything.

    Raises:
        SheetError: the file cannot be opened or read, is too large, or the tab is not there.
    """
    return sheet_of(read_file(path), file=path.name, sheet=sheet)


def read_file(path: Path) -> bytes:
    """The bytes of a file, one more than the most that are taken at most.

    Raises:
        SheetError: it cannot be opened.
    """
    try:
        with path.open("rb") as file:
            return file.read(MAX_BYTES + 1)
    except OSError as error:
        raise SheetError.of("sheets.cannot_open", file=path.name, why=error.strerror or type(error).__name__) from error


def sheet_of(body: bytes, *, file: str, sheet: str | None = None) -> Sheet:
    """As `read_sheet`, for bytes that came another way."""
    if len(body) > MAX_BYTES:
        raise SheetError.of("sheets.too_large", file=file, most=MAX_BYTES // 1024**2)
    if body.startswith(_OLE):
        raise SheetError.of("sheets.old_workbook", file=file)
    if body.startswith(_ZIP):
        read = read_workbook(body, file=file, sheet=sheet)
    else:
        read = ReadTab("", *_read_csv(body, file=file), None)
    _check_size(read.rows, file)
    return Sheet(file, read.name, sha256(body), read.rows, read.remarks, read.saved_on)


ALL_TABS = "*"


def sheets_of(body: bytes, *, file: str, tabs: Sequence[str] = ()) -> list[Sheet]:
    """Several tabs of a file; none named: the one that holds something; "*": all that do.

    Raises:
        SheetError: as `read_sheet`.
    """
    named = tabs_of(body, file=file) if ALL_TABS in tabs else tabs
    return [sheet_of(body, file=file, sheet=tab or None) for tab in named or [""]]


def tabs_of(body: bytes, *, file: str) -> list[str]:
    """The tabs that hold something; one without a name where the file has no tabs (CSV)."""
    if len(body) > MAX_BYTES:
        raise SheetError.of("sheets.too_large", file=file, most=MAX_BYTES // 1024**2)
    return filled_tabs(body, file=file) if body.startswith(_ZIP) else [""]


def _read_csv(body: bytes, *, file: str) -> tuple[tuple[Row, ...], tuple[Fault, ...]]:
    text, remarks = _decoded(body, file)
    rows = []
    # Strict: an unclosed quotation mark would otherwise swallow the rest of the file into one cell, row after row.
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_separator(text), strict=True)
    number = 0
    try:
        # Spreadsheet programs number the records, whatever line breaks stand within quotation marks.
        for number, cells in enumerate(reader, 1):
            while cells and not cells[-1].strip():
                cells.pop()
            if cells:
                rows.append(Row(number, tuple(Unknown(cell) if cell in ERRORS else cell for cell in cells)))
    except csv.Error as error:
        raise SheetError.of("sheets.csv_broken", file=file, row=number + 1) from error
    return tuple(rows), remarks


def _decoded(body: bytes, file: str) -> tuple[str, tuple[Fault, ...]]:
    is_utf16 = body.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    for encoding in ["utf-16"] if is_utf16 else ["utf-8-sig", "cp1252"]:
        try:
            text = body.decode(encoding)
        except UnicodeDecodeError:
            continue
        return text, (Fault("sheets.read_as_cp1252", {"file": file}),) if encoding == "cp1252" else ()
    raise SheetError.of("sheets.no_text", file=file)


def _separator(text: str) -> str:
    """The separator under which most rows have one width; among equals, the one that makes more columns."""
    return max(_SEPARATORS, key=lambda separator: _evenness(text, separator))


def _evenness(text: str, separator: str) -> tuple[float, int]:
    widths: Counter[int] = Counter()
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    try:
        for _, cells in zip(range(_SNIFFED_ROWS), reader, strict=False):
            if any(cells):
                widths[len(cells)] += 1
    except csv.Error:
        return (0, 0)  # the reading itself will say what is broken, and where
    width, rows = max(widths.items(), key=lambda item: (item[1], item[0]), default=(1, 0))
    return (rows / widths.total(), width) if width > 1 else (0, 0)


def _check_size(rows: tuple[Row, ...], file: str) -> None:
    if not rows:
        raise SheetError.of("sheets.empty", file=file)
    if len(rows) > MAX_ROWS:
        raise SheetError.of("sheets.too_many_rows", file=file, rows=len(rows), most=MAX_ROWS)
    for row in rows:
        if len(row.cells) > MAX_COLUMNS:
            raise SheetError.of("sheets.too_many_columns", file=file, row=row.number, columns=len(row.cells), most=MAX_COLUMNS)
        if any(isinstance(cell, str) and len(cell) > MAX_CELL for cell in row.cells):
            raise SheetError.of("sheets.cell_too_long", file=file, row=row.number, most=MAX_CELL)
