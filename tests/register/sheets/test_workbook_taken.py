"""A workbook taken in: days, numbers and merged cells are what the person sees."""

from __future__ import annotations

import io
from collections.abc import Callable
from datetime import date, datetime
from typing import Any

import pytest
from openpyxl import Workbook
from openpyxl.worksheet.worksheet import Worksheet

from fieldkit.protocol import Protocol, read_protocol
from fieldkit.register.sheets import Mapping, Names, SheetError, Taken, read_mapping, sheet_of, take

HEAD = ["site", "tag", "planted_on", "seen_on", "status", "size_cm", None, " "]
OUT, SEEN = datetime(2025, 1, 10), datetime(2025, 4, 10)
TakeRows = Callable[..., Taken]


@pytest.fixture
def take_rows(monitoring: Protocol, remembered: type[Names]) -> TakeRows:
    def taken(rows: list[list[object]], mapping: Mapping | None = None, merge: str = "") -> Taken:
        book = Workbook()
        tab = book.active
        assert isinstance(tab, Worksheet)
        for row in [HEAD, *rows]:
            tab.append(row)
        if merge:
            tab.merge_cells(merge)
        stream = io.BytesIO()
        book.save(stream)
        sheet = sheet_of(stream.getvalue(), file="a.xlsx")
        return take(sheet, mapping or Mapping(), remembered(), monitoring, today=date(2026, 1, 15))

    return taken


def seen(taken: Taken) -> dict[str, Any]:
    (observation,) = [entry.values for entry in taken.entries if entry.kind == "observation"]
    return dict(observation)


def test_date_cells_are_days(take_rows: TakeRows) -> None:
    taken = take_rows([["Outer", "A1", OUT, SEEN, "alive", 9]])
    assert [entry.values["day"] for entry in taken.entries if "day" in entry.values] == ["2025-04-10"]


def test_numbers_and_numbers_kept_as_text_read_alike(take_rows: TakeRows) -> None:
    assert seen(take_rows([["Outer", "A1", OUT, SEEN, "alive", 9.5]]))["size_cm"] == "9.5"
    assert seen(take_rows([["Outer", "A1", OUT, SEEN, "alive", "9.50"]]))["size_cm"] == "9.50"


def test_a_true_number_has_no_decimal_mark_to_mistake(take_rows: TakeRows) -> None:
    taken = take_rows([["Outer", "A1", OUT, SEEN, "alive", 9.5]], read_mapping(b'decimal = ","'))
    assert seen(taken)["size_cm"] == "9.5"


def test_a_number_is_a_tag_too(take_rows: TakeRows) -> None:
    taken = take_rows([["Outer", 104, OUT, SEEN, "alive", 9]])
    assert [entry.values["tag"] for entry in taken.entries if entry.kind == "tag"] == ["104"]


def test_a_site_merged_over_its_rows_is_the_site_of_each(take_rows: TakeRows) -> None:
    rows: list[list[object]] = [["Outer", "A1", OUT, SEEN, "alive", 9], [None, "A2", OUT, SEEN, "dead", None]]
    assert (take_rows(rows, merge="A2:A3").rows_taken, take_rows(rows).rows_taken) == (2, 1)


def test_a_tag_that_became_a_date_cell_is_refused_and_asked(take_rows: TakeRows) -> None:
    taken = take_rows([["Outer", datetime(2025, 1, 1), OUT, SEEN, "alive", 9]])
    assert [(one.column, one.fault.key) for one in taken.refused] == [("tag", "sheets.name_turned_into_day")]
    assert [one.column for one in taken.asks] == ["tag"]


def test_a_formula_without_a_stored_value_refuses_its_row(take_rows: TakeRows) -> None:
    taken = take_rows([["Outer", "A1", OUT, SEEN, "=IF(1,2,3)", 9]])
    assert [(one.column, one.value, one.fault.key) for one in taken.refused] == [("status", "=", "sheets.no_value")]


def test_a_protocols_own_name_for_the_status_is_understood(monitoring: Protocol, remembered: type[Names]) -> None:
    renamed = read_protocol(monitoring.body.replace(b'"status"', b'"condition"', 1).replace(b"status =", b"condition ="))
    sheet = sheet_of(b"site,tag,seen_on,condition\nOuter,A1,2025-04-10,dead\n", file="a.csv")
    assert seen(take(sheet, Mapping(), remembered(), renamed, today=date(2026, 1, 15)))["condition"] == "dead"


def test_two_columns_for_one_field_are_refused(monitoring: Protocol, remembered: type[Names]) -> None:
    renamed = read_protocol(monitoring.body.replace(b'"status"', b'"condition"', 1).replace(b"status =", b"condition ="))
    sheet = sheet_of(b"site,tag,seen_on,condition,status\nOuter,A1,2025-04-10,dead,dead\n", file="a.csv")
    with pytest.raises(SheetError, match="would both fill the protocol's field “condition”"):
        take(sheet, Mapping(), remembered(), renamed, today=date(2026, 1, 15))
