"""The address code: what docs/exchange.md says of it holds, and a slip of the thumb always shows."""

from __future__ import annotations

import ipaddress
import re
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from fieldkit.access.codes import LETTERS
from fieldkit.server.address_code import address_code, of_code

PAGE = (Path(__file__).parents[2] / "docs" / "exchange.md").read_text("utf-8")
ADDRESSES = st.ip_addresses(v=4).map(str)
LETTER = st.sampled_from(LETTERS)


def test_the_examples_of_the_page_are_right() -> None:
    said = re.findall(r"(\d+\.\d+\.\d+\.\d+) is `([^`]+)`", PAGE)
    assert len(said) == 2 and [address_code(address) for address, _ in said] == [code for _, code in said]


@given(ADDRESSES, st.integers(1, 65535))
def test_there_and_back(address: str, port: int) -> None:
    assert of_code(address_code(address, port)) == (address, port)


@given(ADDRESSES)
def test_it_may_be_typed_carelessly(address: str) -> None:
    code = address_code(address)
    careless = code.lower().replace("-", " ").replace("1", "l").replace("0", "o")
    assert of_code(f" {careless} ") == (address, 8443)


@given(ADDRESSES, st.integers(0, 7), LETTER)
def test_one_wrong_letter_shows(address: str, place: int, letter: str) -> None:
    code = address_code(address).replace("-", "")
    slip = code[:place] + letter + code[place + 1 :]
    assert of_code(slip) is None or slip == code


@given(ADDRESSES, st.integers(0, 6))
def test_two_neighbours_that_changed_places_show(address: str, place: int) -> None:
    code = address_code(address).replace("-", "")
    slip = code[:place] + code[place + 1] + code[place] + code[place + 2 :]
    assert of_code(slip) is None or slip == code


@given(st.text(max_size=12))
def test_whatever_is_typed_is_an_address_or_nothing(typed: str) -> None:
    found = of_code(typed)
    assert found is None or ipaddress.IPv4Address(found[0])
