"""Durations: whole days out of ISO 8601."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldkit.protocol import DurationError, days_of


@pytest.mark.parametrize(
    ("duration", "days"),
    [
        ("P0D", 0),
        ("P1D", 1),
        ("P2W", 14),
        ("P1M", 30),
        ("P3M", 91),
        ("P6M", 182),
        ("P12M", 365),
        ("P1Y", 365),
        ("P18M", 547),
        ("P24M", 730),
        ("P4Y", 1461),
        ("P48M", 1461),
        ("P1Y6M", 547),
        ("P1Y2M3W4D", 451),
        ("P0M", 0),
    ],
)
def test_a_month_is_a_twelfth_of_365_25_days_rounded_down(duration: str, days: int) -> None:
    assert days_of(duration) == days


@pytest.mark.parametrize(
    "text",
    [
        "",
        "P",
        "3M",
        "P3",
        "p3m",
        "P3m",
        "P 3M",
        "P3M ",
        "-P3M",
        "P-3M",
        "P1.5M",
        "P1DT",
        "PT24H",
        "P1DT2H",
        "P1M1Y",
        "P1D1W",
        "P99999Y",
        "P٣M",
        "P3M\n",
        "2 weeks",
    ],
)
def test_what_is_no_duration_of_whole_days_is_refused(text: str) -> None:
    with pytest.raises(DurationError) as refused:
        days_of(text)
    (fault,) = refused.value.faults
    assert (fault.key, fault.data["value"]) == ("protocol.duration", text)


@given(years=st.integers(0, 99), months=st.integers(0, 99))
def test_years_are_twelve_months(years: int, months: int) -> None:
    assert days_of(f"P{years}Y{months}M") == days_of(f"P{12 * years + months}M")


@given(months=st.integers(0, 9999))
def test_more_months_are_never_fewer_days(months: int) -> None:
    assert days_of(f"P{months}M") <= days_of(f"P{months}M1D") - 1
