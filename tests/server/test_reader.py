"""How days, figures and ages are written for people."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldkit.server.reader import Reader, days_to_months, months_to_days

ENGLISH, SPANISH = Reader("en"), Reader("es")
JOINED = "\N{WORD JOINER}–\N{WORD JOINER}"


@pytest.mark.parametrize(("reader", "written"), [(ENGLISH, "12 Nov 2026"), (SPANISH, "12 nov 2026")])
def test_a_day_is_written_as_people_write_it(reader: Reader, written: str) -> None:
    assert (reader.day("2026-11-12"), reader.day(date(2026, 11, 12))) == (written, written)


def test_what_is_no_day_is_shown_as_it_was_noted() -> None:
    assert ENGLISH.day("12/13/26") == "12/13/26"


def test_an_absent_day_is_a_dash() -> None:
    assert ENGLISH.day(None) == "–"


@pytest.mark.parametrize(("reader", "written"), [(ENGLISH, "61.2%"), (SPANISH, "61,2\N{NO-BREAK SPACE}%")])
def test_a_share_is_written_in_per_cent(reader: Reader, written: str) -> None:
    assert reader.percent(0.6123) == written


@pytest.mark.parametrize(
    ("reader", "written"), [(ENGLISH, f"5.0{JOINED}61.2%"), (SPANISH, f"5,0{JOINED}61,2\N{NO-BREAK SPACE}%")]
)
def test_a_span_names_its_unit_once(reader: Reader, written: str) -> None:
    assert reader.span(0.05, 0.6123) == written


def test_a_span_without_an_end_is_a_dash() -> None:
    assert (ENGLISH.span(None, 0.5), ENGLISH.span(0.5, None)) == ("–", "–")


def test_a_number_keeps_the_decimals_it_was_noted_with() -> None:
    assert [SPANISH.decimal(Decimal(text)) for text in ("12.50", "12", "1200")] == ["12,50", "12", "1.200"]


def test_a_count_in_a_sentence_chooses_the_plural_and_is_grouped() -> None:
    assert [ENGLISH.text("pages.plots_n", n=n) for n in (1, 1234)] == ["1 plot", "1,234 plots"]


@pytest.mark.parametrize(("days", "written"), [(365, "12 months"), (30, "1 month"), (741, "741 days"), (1, "1 day")])
def test_an_age_is_in_months_where_it_is_a_whole_number_of_them(days: int, written: str) -> None:
    assert ENGLISH.age(days) == written


@given(st.integers(0, 600))
def test_months_to_days_and_back(months: int) -> None:
    assert days_to_months(months_to_days(months)) == months


def test_the_ages_of_the_shipped_rounds_are_whole_months() -> None:
    assert [days_to_months(days) for days in (30, 91, 182, 365, 547, 730, 1095)] == [1, 3, 6, 12, 18, 24, 36]
