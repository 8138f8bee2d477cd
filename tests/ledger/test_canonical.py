"""One value, one sequence of bytes: what the digests of all entries rest on."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldkit.ledger import EntryError, canonical, parse, sha256
from fieldkit.ledger.canonical import MAX_DEPTH, MAX_INTEGER

KEYS = st.from_regex(r"[a-z][a-z0-9_]*", fullmatch=True)
SCALARS = st.none() | st.booleans() | st.integers(-MAX_INTEGER, MAX_INTEGER) | st.text(st.characters(exclude_categories=["Cs"]))
VALUES = st.recursive(
    SCALARS, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=4), max_leaves=12
)


def fault_of(body: bytes) -> str:
    with pytest.raises(EntryError) as raised:
        parse(body)
    return raised.value.faults[0].key


def nested(depth: int) -> bytes:
    return b"[" * depth + b"]" * depth


@given(VALUES)
def test_what_is_written_reads_as_it_was(value: Any) -> None:
    try:
        body = canonical(value)
    except EntryError as error:
        assert error.faults[0].key == "ledger.too_deep"
    else:
        assert parse(body) == value


@given(VALUES)
def test_bytes_that_are_read_are_written_again_the_same(value: Any) -> None:
    """Whatever bytes are accepted, however they came about, are the canonical ones."""
    body = json.dumps(value, ensure_ascii=False, separators=(",", ":")).encode()
    try:
        found = parse(body)
    except EntryError:
        return
    assert canonical(found) == body


@given(st.binary(max_size=60))
def test_any_bytes_are_read_or_refused_as_no_entry(body: bytes) -> None:
    try:
        assert canonical(parse(body)) == body
    except EntryError as error:
        assert error.texts()


@given(VALUES, st.data())
def test_one_flipped_bit_changes_the_digest(value: Any, data: st.DataObject) -> None:
    body = json.dumps(value).encode()
    bit = data.draw(st.integers(0, 8 * len(body) - 1))
    flipped = bytearray(body)
    flipped[bit // 8] ^= 1 << bit % 8
    assert sha256(bytes(flipped)) != sha256(body)


@given(VALUES)
def test_another_implementation_of_rfc_8785_writes_the_same_bytes(value: Any) -> None:
    """Source: RFC 8785 as implemented by the PyPI package rfc8785 0.1.4."""
    rfc8785 = pytest.importorskip("rfc8785")
    try:
        body = canonical(value)
    except EntryError:
        return
    assert rfc8785.dumps(value) == body


def test_the_text_of_the_rfc_comes_out_as_printed_there() -> None:
    """Source: RFC 8785, sections 3.2.2 and 3.2.4, from memory; its numbers with a fraction are outside our profile."""
    text = "\u20ac$\u000f\u000aA'\u0042\u0022\u005c\\\"/"
    printed = bytes.fromhex(
        "7b226c69746572616c73223a5b6e756c6c2c747275652c66616c73655d2c"
        "22737472696e67223a22e282ac245c75303030665c6e4127425c225c5c5c5c5c222f227d"
    )
    assert canonical({"string": text, "literals": [None, True, False]}) == printed


def test_keys_stand_in_order() -> None:
    assert canonical({"b": 1, "a_": 2, "a1": 3, "a": 4}) == b'{"a":4,"a1":3,"a_":2,"b":1}'


def test_controls_are_written_short_where_there_is_a_short_form() -> None:
    assert canonical("\b\t\n\f\r\x00\x1f\x7f\u2028") == b'"\\b\\t\\n\\f\\r\\u0000\\u001f\x7f\xe2\x80\xa8"'


def test_one_letter_written_in_two_ways_stays_two_texts() -> None:
    assert canonical("e\u0301") != canonical("\u00e9")


@pytest.mark.parametrize(
    ("body", "key"),
    [
        (b'{"b":1,"a":2}', "not_canonical"),
        (b'{"a": 1}', "not_canonical"),
        (b' {"a":1}', "not_json"),
        (b'{"a":1}\n', "not_json"),
        (b'"\\u00e9"', "not_canonical"),
        (b'"\\u001F"', "not_canonical"),
        (b'"\\/"', "not_canonical"),
        (b"-0", "not_canonical"),
        (b"01", "not_json"),
        (b"1.0", "number_with_fraction"),
        (b"1e3", "number_with_fraction"),
        (b"NaN", "number_with_fraction"),
        (b"-Infinity", "number_with_fraction"),
        (b"9007199254740992", "integer_too_large"),
        (b"-9007199254740992", "integer_too_large"),
        (b"1" * 5000, "integer_too_large"),
        (b'{"a":1,"a":2}', "key_twice"),
        (b'{"a":1,"b":{"c":1,"c":1}}', "key_twice"),
        (b'{"A":1}', "bad_key"),
        (b'{"_a":1}', "bad_key"),
        (b'{"1a":1}', "bad_key"),
        (b'{"":1}', "bad_key"),
        (b'{"a b":1}', "bad_key"),
        (b'{"a\\n":1}', "bad_key"),
        ('{"é":1}'.encode(), "bad_key"),
        (b'"\xff"', "not_utf8"),
        (b'"\xed\xa0\x80"', "not_utf8"),
        (b'"\\ud800"', "lone_surrogate"),
        (b'"\x01"', "not_json"),
        (b"\xef\xbb\xbf1", "not_json"),
        (b"", "not_json"),
        (b"{", "not_json"),
        (b"'a'", "not_json"),
    ],
)
def test_bytes_outside_the_profile_are_refused_by_name(body: bytes, key: str) -> None:
    assert fault_of(body) == f"ledger.{key}"


@pytest.mark.parametrize("depth", [MAX_DEPTH + 1, 1000, 100_000])
def test_nesting_is_refused_at_any_depth(depth: int) -> None:
    assert fault_of(nested(depth)) == "ledger.too_deep"


def test_nesting_up_to_the_limit_is_read() -> None:
    assert canonical(parse(nested(MAX_DEPTH))) == nested(MAX_DEPTH)


def test_brackets_in_a_text_are_no_nesting() -> None:
    assert parse(canonical("[{" * 50)) == "[{" * 50


@pytest.mark.parametrize("body", [b"9007199254740991", b"-9007199254740991"])
def test_the_largest_whole_numbers_are_read(body: bytes) -> None:
    assert canonical(parse(body)) == body


@pytest.mark.parametrize("value", [1.5, {1, 2}, b"bytes", {"a": object()}, float("nan")])
def test_a_value_of_another_kind_is_not_written(value: Any) -> None:
    with pytest.raises(EntryError):
        canonical(value)


@pytest.mark.parametrize("value", [{"A": 1}, {1: 2}, 2**53, pytest.param(-(10**5000), id="5,001 digits"), "\ud800"])
def test_a_value_outside_the_profile_is_not_written(value: Any) -> None:
    with pytest.raises(EntryError):
        canonical(value)


def test_the_first_byte_that_differs_is_named() -> None:
    with pytest.raises(EntryError) as raised:
        parse(b'{"a":1, "b":2}')
    assert raised.value.faults[0].data == {"position": 7}
