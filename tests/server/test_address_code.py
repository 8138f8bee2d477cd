"""The address code: what docs/exchange.md says of it holds, and a slip of the thumb always shows to whoever reads it so.

Phones read it in their own script; tests/browser/device holds that to the same.
"""

from __future__ import annotations

import ipaddress
import re
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from fieldkit.access.codes import LETTERS
from fieldkit.server.address_code import address_code

PAGE = (Path(__file__).parents[2] / "docs" / "exchange.md").read_text("utf-8")
ADDRESSES = st.ip_addresses(v=4).map(str)
LETTER = st.sampled_from(LETTERS)


def read(code: str) -> str | None:
    """The address of eight letters, by the page's words; None where they do not hold."""
    bits = int("".join(f"{LETTERS.index(letter):05b}" for letter in code.replace("-", "")), 2)
    number, rest = divmod(bits, 256)
    return str(ipaddress.IPv4Address(number)) if number % 251 == rest else None


def test_the_examples_of_the_page_are_right() -> None:
    said = re.findall(r"(\d+\.\d+\.\d+\.\d+) is `([^`]+)`", PAGE)
    assert len(said) == 2 and [address_code(address) for address, _ in said] == [code for _, code in said]


@given(ADDRESSES)
def test_there_and_back(address: str) -> None:
    assert read(address_code(address)) == address


def test_another_port_than_the_usual_stands_behind_it() -> None:
    assert address_code("192.168.1.7", 9443) == f"{address_code('192.168.1.7')}:9443"


@given(ADDRESSES, st.integers(0, 7), LETTER)
def test_one_wrong_letter_shows(address: str, place: int, letter: str) -> None:
    code = address_code(address).replace("-", "")
    slip = code[:place] + letter + code[place + 1 :]
    assert read(slip) is None or slip == code


@given(ADDRESSES, st.integers(0, 6))
def test_two_neighbours_that_changed_places_show(address: str, place: int) -> None:
    code = address_code(address).replace("-", "")
    slip = code[:place] + code[place + 1] + code[place] + code[place + 2 :]
    assert read(slip) is None or slip == code
