"""Tables for other programs: RFC 4180, nothing undefined told as a number, nothing that runs in a spreadsheet."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldkit.reports.tables import COLUMNS, safe, survival_csv, written

AT = {"age": 365, "survival": 0.5, "lower": None, "upper": None, "at_risk": 9, "range": [0.25, 0.5]}
FIGURES = {"at": [{**AT, "known_at": AT}], "curve": [], "median": [None, None], "restricted_mean": None}


def answer(label: str = "Amo") -> dict[str, Any]:
    counts = {"corals": 10, "plots": 1, "deaths": 4, "missing": 1}
    return {"by": ["site"], "groups": [{"group": {"site": label}, **counts, "missing_lost": FIGURES, "missing_open": FIGURES}]}


def read(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text, newline="")))


def test_every_group_treatment_and_age_is_a_row_under_a_header() -> None:
    header, *rows = read(survival_csv(answer()))
    assert header == ["site", *COLUMNS]
    assert [row[5] for row in rows] == ["missing_lost", "missing_open"]


def test_a_row_holds_the_figures_of_the_answer() -> None:
    assert read(survival_csv(answer()))[1] == [
        *("Amo", "10", "1", "4", "1", "missing_lost"),
        *("365", "365", "0.5", "", "", "9", "0.25", "0.5"),
    ]


def test_what_is_undefined_is_an_empty_cell() -> None:
    assert written(["a", "b"], [[None, 0]]) == "a,b\r\n,0\r\n"


def test_lines_end_with_carriage_return_and_line_feed() -> None:
    text = survival_csv(answer())
    assert text.endswith("\r\n")
    assert text.count("\r\n") == text.count("\n") == 3


@pytest.mark.parametrize("label", ["Amo, north", 'the "Bommie"', "two\r\nlines", "Nuvelako ‘à’"])
def test_a_label_with_commas_quotes_or_line_breaks_comes_back_as_it_was(label: str) -> None:
    assert read(survival_csv(answer(label)))[1][0] == label


@pytest.mark.parametrize("label", ["=1+1", "+SUM(A1)", "-Amo", "@Amo", "\tAmo", "\rAmo", "\nAmo", "＝1+1"])
def test_a_text_that_begins_like_a_formula_is_defused(label: str) -> None:
    assert safe([label]) == [f"'{label}"]


@pytest.mark.parametrize("cell", [-1, -0.5, "-12.5", "+3", "0", "Amo-1", "", None])
def test_numbers_and_harmless_texts_stay_as_they_are(cell: Any) -> None:
    assert safe([cell]) == [cell]


@given(st.lists(st.lists(st.text() | st.integers() | st.none(), min_size=2, max_size=2), max_size=5))
def test_any_table_comes_back_as_it_was_written(rows: list[list[Any]]) -> None:
    told = [["" if cell is None else str(cell) for cell in safe(row)] for row in rows]
    assert read(written(["a", "b"], rows))[1:] == told


@given(st.text())
def test_no_text_that_a_spreadsheet_would_run_is_ever_written(text: str) -> None:
    (cell,) = safe([text])
    assert not cell.startswith(("=", "@", "＝", "＠"))
