"""How a CSV file becomes rows: encodings, separators, row numbers, and what is refused as a whole."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldkit.register.sheets import Sheet, SheetError, read_sheet, sheet_of


def cells(sheet: Sheet) -> list[tuple[object, ...]]:
    return [row.cells for row in sheet.rows]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_accents_survive_every_encoding_that_spreadsheets_save(encoding: str) -> None:
    assert cells(sheet_of("sitio,año\nPeñón,2019".encode(encoding), file="a.csv")) == [("sitio", "año"), ("Peñón", "2019")]


def test_reading_as_windows_1252_is_told() -> None:
    (remark,) = sheet_of("Peñón,1".encode("cp1252"), file="a.csv").remarks
    assert remark.text() == "a.csv is not UTF-8 and was read as Windows-1252. Look whether accents and signs are right."


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_the_separator_is_told_from_the_rows(separator: str) -> None:
    text = "\n".join(separator.join(row) for row in [("tag", "status", "size"), ("A1", "alive", "12"), ("A2", "dead", "")])
    assert cells(sheet_of(text.encode(), file="a.csv"))[1] == ("A1", "alive", "12")


def test_decimal_commas_do_not_make_a_comma_the_separator() -> None:
    assert cells(sheet_of(b"tag;size\nA1;12,5\nA2;9,5\n", file="a.csv"))[1] == ("A1", "12,5")


def test_commas_in_notes_do_not_make_a_comma_the_separator() -> None:
    text = b"tag;note\nA1;tipped, broken, upside down\nA2;a, b\nA3;fine\n"
    assert cells(sheet_of(text, file="a.csv"))[1] == ("A1", "tipped, broken, upside down")


def test_rows_have_the_numbers_that_a_spreadsheet_program_shows() -> None:
    text = b'tag,note\nA1,"two\nlines"\n\nA2,\n'
    assert [row.number for row in sheet_of(text, file="a.csv").rows] == [1, 2, 4]


def test_what_looks_like_a_formula_is_a_text() -> None:
    assert cells(sheet_of(b"tag,note\nA1,=SUM(B2:B9)\n", file="a.csv"))[1] == ("A1", "=SUM(B2:B9)")


def test_an_unclosed_quotation_mark_is_refused_and_swallows_no_rows() -> None:
    with pytest.raises(SheetError) as caught:
        sheet_of(b'tag,note\nA1,"tipped\nA2,\nA3,\n', file="a.csv")
    assert caught.value.faults[0].data == {"file": "a.csv", "row": 2}


@pytest.mark.parametrize("body", [b"", b"\n\n", b",,\n , \n", b"\xef\xbb\xbf"])
def test_a_file_that_holds_nothing_is_refused(body: bytes) -> None:
    with pytest.raises(SheetError, match=r"a\.csv holds nothing"):
        sheet_of(body, file="a.csv")


def test_bytes_that_are_no_text_are_refused() -> None:
    with pytest.raises(SheetError, match="neither a workbook nor text"):
        sheet_of(b"\x81\x8d\x8f\x90,1", file="a.csv")


def test_a_file_that_is_not_there_is_refused_by_name(tmp_path: Path) -> None:
    with pytest.raises(SheetError, match=r"none\.csv cannot be opened: No such file"):
        read_sheet(tmp_path / "none.csv")


def test_a_sheet_too_wide_is_refused() -> None:
    with pytest.raises(SheetError, match="1001 columns"):
        sheet_of(b"a," * 1000 + b"a\n", file="a.csv")


def test_a_cell_longer_than_a_workbook_could_hold_is_refused() -> None:
    with pytest.raises(SheetError, match="row 2 has a cell of more than"):
        sheet_of(b"a,b\n1," + b"x" * 40_000, file="a.csv")
