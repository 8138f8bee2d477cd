"""How a workbook becomes rows: stored values only, days as days, merged cells, and what is refused as a whole."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable
from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from fieldkit.register.sheets import Sheet, SheetError, Unknown, sheet_of
from fieldkit.register.sheets.sheet import Cell, shown


def saved(book: Workbook) -> bytes:
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def read(fill: Callable[[Worksheet], None], *, sheet: str | None = None) -> Sheet:
    book = Workbook()
    assert book.active is not None
    fill(book.active)  # type: ignore[arg-type]
    return sheet_of(saved(book), file="a.xlsx", sheet=sheet)


def one_cell(value: object, number_format: str = "General") -> Cell:
    def fill(tab: Worksheet) -> None:
        tab["A1"] = value
        tab["A1"].number_format = number_format

    return read(fill).rows[0].cells[0]


def test_a_day_is_a_day() -> None:
    assert one_cell(datetime(2019, 8, 1), "dd/mm/yyyy") == date(2019, 8, 1)


def test_a_day_shown_as_a_month_is_a_month() -> None:
    assert one_cell(datetime(2019, 8, 1), "mmm-yy") == "2019-08"


def test_a_day_shown_as_a_year_is_a_year() -> None:
    assert one_cell(datetime(2019, 8, 1), "yyyy") == "2019"


def test_a_number_reads_as_the_program_shows_it() -> None:
    assert shown(one_cell(4.1 + 8.2)) == "12.3"  # 12.299999999999999 as a double


def test_a_whole_number_has_no_decimal_point() -> None:
    assert shown(one_cell(44.0)) == "44"


def test_a_share_shown_in_percent_is_a_percentage() -> None:
    assert shown(one_cell(0.85, "0%")) == "85"


def test_a_number_kept_as_text_stays_as_typed() -> None:
    assert one_cell("007") == "007"


def test_a_text_that_looks_like_a_formula_is_a_text() -> None:
    def fill(tab: Worksheet) -> None:
        tab["A1"] = "=1+1"
        tab["A1"].data_type = "s"

    assert read(fill).rows[0].cells[0] == "=1+1"


def test_a_formula_without_a_stored_value_is_no_blank() -> None:
    def fill(tab: Worksheet) -> None:
        tab.append(["size_cm", "note"])
        tab.append(["=1+1", "big"])

    assert read(fill).rows[1].cells == (Unknown("="), "big")


def test_an_error_value_is_no_text() -> None:
    assert one_cell("#N/A") == Unknown("#N/A")


def test_a_merged_cell_stands_in_every_row_that_it_covers() -> None:
    def fill(tab: Worksheet) -> None:
        for row in [("site", "tag"), ("Outer", "A1"), (None, "A2"), (None, "A3"), (None, "B1")]:
            tab.append(row)
        tab.merge_cells("A2:A4")

    assert [row.cells[0] for row in read(fill).rows] == ["site", "Outer", "Outer", "Outer", ""]


def test_filling_in_merged_cells_is_told() -> None:
    def fill(tab: Worksheet) -> None:
        for row in [("site", "tag"), ("Outer", "A1"), (None, "A2")]:
            tab.append(row)
        tab.merge_cells("A2:A3")

    assert [fault.text() for fault in read(fill).remarks] == ["1 cell was filled in from the merged cell that covers it."]


def test_trailing_blank_columns_and_rows_are_left_out() -> None:
    def fill(tab: Worksheet) -> None:
        tab.append(["site", "tag", None, " "])
        tab.append(["Outer", "A1"])
        tab["Z99"].number_format = "0.00"

    assert [(row.number, len(row.cells)) for row in read(fill).rows] == [(1, 2), (2, 2)]


def test_blank_rows_keep_the_numbers_of_the_others() -> None:
    def fill(tab: Worksheet) -> None:
        tab["A1"], tab["A5"] = "tag", "A1"

    assert [row.number for row in read(fill).rows] == [1, 5]


def test_rows_beyond_the_size_that_a_file_states_are_read() -> None:
    book = Workbook()
    assert book.active is not None
    for number in range(5):
        book.active.append([number])
    body = changed(saved(book), "xl/worksheets/sheet1.xml", rb'<dimension ref="[^"]*"', b'<dimension ref="A1"')
    assert len(sheet_of(body, file="a.xlsx").rows) == 5


def test_the_one_tab_that_holds_something_is_taken() -> None:
    def fill(tab: Worksheet) -> None:
        tab.append(["tag"])
        assert tab.parent is not None
        tab.parent.create_sheet("empty", 0)

    assert read(fill).name == "Sheet"


def test_of_several_tabs_one_must_be_named() -> None:
    def fill(tab: Worksheet) -> None:
        tab.append(["tag"])
        assert tab.parent is not None
        tab.parent.create_sheet("Lagoon").append(["tag"])

    with pytest.raises(SheetError, match="several tabs that hold something: Sheet, Lagoon"):
        read(fill)


def test_a_tab_that_is_not_there_is_refused_with_the_nearest() -> None:
    with pytest.raises(SheetError, match=r"no tab “Sheat”\. Perhaps: Sheet"):
        read(lambda tab: tab.append(["tag"]), sheet="Sheat")


def test_a_workbook_of_the_old_format_is_refused_with_the_cure() -> None:
    with pytest.raises(SheetError, match=r"save it as \.xlsx"):
        sheet_of(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(512), file="a.xls")


@pytest.mark.parametrize("part", ["xl/workbook.xml", "xl/worksheets/sheet1.xml", "[Content_Types].xml", "xl/styles.xml"])
def test_a_damaged_part_is_refused(part: str) -> None:
    book = Workbook()
    assert book.active is not None
    book.active.append(["tag"])
    with pytest.raises(SheetError, match="no whole workbook"):
        sheet_of(changed(saved(book), part, rb"(?s).{40}$", b""), file="a.xlsx")


def test_a_row_number_beyond_the_format_is_refused_and_not_walked_up_to() -> None:
    book = Workbook()
    assert book.active is not None
    book.active.append(["tag"])
    with pytest.raises(SheetError, match="no whole workbook"):
        sheet_of(changed(saved(book), "xl/worksheets/sheet1.xml", rb'<row r="1"', b'<row r="99999999"'), file="a.xlsx")


PARTS = st.sampled_from(["xl/workbook.xml", "xl/worksheets/sheet1.xml", "xl/styles.xml", "xl/_rels/workbook.xml.rels"])
BYTES = st.sampled_from([b'"', b"<", b">", b"0", b"99999999999", b"A", b"\xff", b"", b"r=", b"/"])


@given(PARTS, st.floats(0, 1), st.integers(0, 6), BYTES)
def test_a_workbook_damaged_anywhere_is_read_or_refused(part: str, at: float, gone: int, put: bytes) -> None:
    book = Workbook()
    assert book.active is not None
    book.active.append(["tag", "seen_on", datetime(2025, 4, 10), 0.5, "=A1"])
    book.active.merge_cells("A1:A3")
    body = saved(book)
    with zipfile.ZipFile(io.BytesIO(body)) as archive:
        content = archive.read(part)
    start = int(at * len(content))
    try:
        damaged = content[:start] + put + content[start + gone :]
        assert sheet_of(changed(body, part, rb"(?s)\A.*\Z", lambda _: damaged), file="a.xlsx").rows
    except SheetError as error:
        assert error.texts("es")


def changed(body: bytes, part: str, pattern: bytes, by: bytes | Callable[[re.Match[bytes]], bytes]) -> bytes:
    """The same archive with something replaced in one of its parts."""
    stream = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(body)) as old, zipfile.ZipFile(stream, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            new.writestr(name, re.sub(pattern, by, content) if name == part else content)
    return stream.getvalue()
