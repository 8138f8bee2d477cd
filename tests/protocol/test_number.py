"""Numbers as people type them."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldkit.protocol import number
from fieldkit.protocol.number import written


@pytest.mark.parametrize(
    ("typed", "plain"),
    [
        ("12.5", "12.5"),
        ("12,5", "12.5"),
        (".5", "0.5"),
        (" 7 ", "7"),
        ("+7", "7"),
        ("007", "7"),
        ("0", "0"),
        ("00", "0"),
        ("-0", "0"),
        ("-0.0", "0.0"),
        ("-3", "-3"),
        ("0.50", "0.50"),
        ("000.5", "0.5"),
    ],
)
def test_a_number_has_one_form_with_its_decimals_as_typed(typed: str, plain: str) -> None:
    assert written(typed) == plain


@pytest.mark.parametrize(
    "typed",
    [
        "",
        " ",
        ".",
        "-.",
        ",",
        "5.",
        "1.2.3",
        "1,234.5",
        "1 000",
        "1e3",
        "NaN",
        "inf",
        "½",
        "٣",
        "3cm",
        ">1",
        None,
        3,
        3.0,
        True,
        ["3"],
    ],
)
def test_what_is_no_number_is_none(typed: Any) -> None:
    assert number(typed) is None


@given(value=st.decimals(min_value=-(10**9), max_value=10**9, places=4))
def test_a_number_survives_being_written(value: Decimal) -> None:
    assert number(f"{value:f}") == value


@given(typed=st.text(max_size=40))
def test_writing_a_written_number_again_changes_nothing(typed: str) -> None:
    plain = written(typed)
    assert plain is None or written(plain) == plain
