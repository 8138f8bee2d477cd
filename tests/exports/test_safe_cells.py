"""No spreadsheet program takes a cell of ours for a formula, and no name of a field hides a column of the table."""

from __future__ import annotations

import csv
from io import BytesIO, StringIO

from openpyxl import load_workbook

from fieldkit.exports import csv_files, workbook
from fieldkit.exports.table import Column, Table
from fieldkit.exports.values import Recorded
from fieldkit.protocol import Protocol
from tests.support.programme import Reef

# OWASP, CSV injection (from memory): what a spreadsheet program evaluates when the file is opened.
EVIL = ["=1+1", "+1+cmd", "-2+3+cmd|' /C calc'!A0", "@SUM(1)", "\t=1", "\r=1", "＝1+1", '=HYPERLINK("http://a.example")']


def table(*cells: str) -> Table:
    return Table("evil", (Column("told"),), lambda: [{"told": cell} for cell in cells])


def test_no_cell_of_csv_begins_like_a_formula() -> None:
    file = BytesIO()
    csv_files.write_one(file, table(*EVIL))
    _, *rows = csv.reader(StringIO(file.getvalue().decode("utf-8"), newline=""))
    assert [row[0] for row in rows] == [f"'{cell}" for cell in EVIL]


def test_no_cell_of_a_workbook_is_a_formula() -> None:
    file = BytesIO()
    workbook.write(file, [table(*EVIL)])
    _, *rows = load_workbook(BytesIO(file.getvalue()))["evil"].iter_rows()
    assert {cell.data_type for (cell,) in rows} == {"s"}
    assert [str(cell.value).strip() for (cell,) in rows] == [cell.strip() for cell in EVIL]
    assert all(cell.quotePrefix for (cell,) in rows)


def test_signs_that_a_workbook_cannot_hold_do_not_break_it() -> None:
    file = BytesIO()
    workbook.write(file, [table("a\x07b")])
    assert load_workbook(BytesIO(file.getvalue()))["evil"]["A2"].value == "ab"


def test_a_field_named_like_a_column_of_the_table_gets_a_heading_of_its_own() -> None:
    protocol: Protocol = Reef({"A": 1}).protocol
    own = (Column("coral"), Column("status"))
    recorded = Recorded([protocol], "coral", own)
    names = [column.name for column in (*own, *recorded.columns)]
    assert len(names) == len(set(names)) and "noted_status" in names
    assert recorded.cells({"status": "alive"}) == {"noted_status": "alive"}


def test_what_no_column_can_hold_is_not_lost() -> None:
    recorded = Recorded([Reef({"A": 1}).protocol], "coral", ())
    assert recorded.cells({"size_cm": "12.5 or so", "colour": ["red", "blue"]}) == {
        "other": "colour=red;blue; size_cm=12.5 or so"
    }
