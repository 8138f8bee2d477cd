"""Which writings of a day are taken, which are asked, which are refused."""

from __future__ import annotations

from datetime import date

import pytest

from fieldkit.register.sheets.days import Day, NoDay, looks_eaten, read_day


@pytest.mark.parametrize(
    "text",
    [
        "2019-08-01",
        "2019/8/1",
        "2019.08.01",
        "2019-08-01 00:00:00",
        "2019-08-01T09:30:00Z",
        "1 Aug 2019",
        "1-Aug-2019",
        "August 1, 2019",
        "1st of August 2019",
        "1 de agosto de 2019",
        "1 ago. 2019",
        "  2019-08-01 ",
    ],
)
def test_a_day_that_can_be_read_in_one_way_is_taken(text: str) -> None:
    assert read_day(text, None) == Day(date(2019, 8, 1))


@pytest.mark.parametrize("text", ["2019-08", "08/2019", "Aug 2019", "agosto de 2019", "August-2019"])
def test_a_month_is_its_first_day_and_says_so(text: str) -> None:
    assert read_day(text, None) == Day(date(2019, 8, 1), "month")


def test_a_year_is_its_first_day_and_says_so() -> None:
    assert read_day("2019", None) == Day(date(2019, 1, 1), "year")


def test_a_day_of_two_readings_is_asked() -> None:
    assert read_day("03/04/2025", None) == NoDay("day_order_unknown")


@pytest.mark.parametrize(("order", "day"), [("dmy", date(2025, 4, 3)), ("mdy", date(2025, 3, 4))])
def test_a_stated_order_settles_a_day_of_two_readings(order: str, day: date) -> None:
    assert read_day("03/04/2025", order) == Day(day)


@pytest.mark.parametrize("text", ["13/04/2025", "04/13/2025"])
def test_a_day_of_one_reading_needs_no_order(text: str) -> None:
    assert read_day(text, None) == Day(date(2025, 4, 13))


def test_a_day_whose_two_readings_are_one_is_taken() -> None:
    assert read_day("04/04/2025", None) == Day(date(2025, 4, 4))


def test_a_day_that_contradicts_the_stated_order_is_refused() -> None:
    assert read_day("04/13/2025", "dmy") == NoDay("day_not_in_calendar")


def test_a_year_of_two_digits_is_asked_without_an_order() -> None:
    assert read_day("13/04/25", None) == NoDay("day_order_unknown")


def test_a_year_of_two_digits_is_taken_under_a_stated_order() -> None:
    assert read_day("13/04/25", "dmy") == Day(date(2025, 4, 13))


@pytest.mark.parametrize("text", ["2019-02-30", "2019-13-01", "32/12/2019", "2019-00-10"])
def test_a_day_that_is_in_no_calendar_is_refused(text: str) -> None:
    assert read_day(text, None) == NoDay("day_not_in_calendar")


def test_a_spreadsheets_day_number_is_told_apart() -> None:
    assert read_day("43678", None) == NoDay("day_number")


@pytest.mark.parametrize(
    "text", ["unsampled", "?", "12", "Aug-19", "Monday 1 Aug 2019", "2019-08-01 and 2019-08-02", "1 2 3 4"]
)
def test_what_is_no_day_is_refused(text: str) -> None:
    assert read_day(text, None) == NoDay("no_day")


@pytest.mark.parametrize("text", ["1-Jan", "12-Dic", "Jan-45", " 2-feb "])
def test_a_name_that_became_a_day_is_recognised(text: str) -> None:
    assert looks_eaten(text)


@pytest.mark.parametrize("text", ["1-1", "Jan", "A-12", "Reef-1", "1-January-2020"])
def test_an_ordinary_name_is_not_taken_for_a_day(text: str) -> None:
    assert not looks_eaten(text)
