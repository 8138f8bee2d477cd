"""What holds for any file and any table."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldkit.register.sheets import Mapping, Names, SheetError, Taken, read_mapping, sheet_of, take

HEAD = ("site", "plot", "tag", "position", "planted_on", "seen_on", "status", "size_cm", "live_tissue", "cause", "note")
CELLS = st.one_of(
    st.sampled_from(
        ["", " ", "Outer", "A1", "a 1", "alive", "dead", "missing", "0", "2025-01-10", "2025-04", "03/04/2025", "12.5"]
    ),
    st.sampled_from(
        ["12,5", "100", "Total", "?", "NA", "1-Jan", "#N/A", "=A1", "storm", "\x00", "9" * 400, "-1", "2999-01-01"]
    ),
    st.text(max_size=12),
)
TABLES = st.lists(st.tuples(*(CELLS for _ in HEAD)), max_size=12)


def quoted(rows: list[tuple[str, ...]]) -> bytes:
    lines = [",".join('"' + cell.replace('"', '""') + '"' for cell in row) for row in [HEAD, *rows]]
    return "\n".join(lines).encode("utf-8", "ignore")


@given(st.one_of(st.binary(max_size=400), st.binary(max_size=200).map(lambda tail: ",".join(HEAD).encode() + b"\n" + tail)))
def test_any_bytes_are_taken_or_refused_as_a_sheet(take_bytes: Any, body: bytes) -> None:
    try:
        taken = take_bytes(body)
    except SheetError as error:
        assert error.texts("en") and error.texts("es")
    else:
        assert taken.digest


@given(st.binary(max_size=60), st.sampled_from([b"PK\x03\x04", b"\xd0\xcf\x11\xe0", b"\xff\xfe"]))
def test_any_damaged_beginning_is_refused_as_a_sheet(take_bytes: Any, tail: bytes, start: bytes) -> None:
    with pytest.raises(SheetError):
        take_bytes(start + tail)


@given(TABLES)
def test_every_row_is_taken_refused_or_told_as_passed_over(take_bytes: Any, rows: list[tuple[str, ...]]) -> None:
    taken: Taken = take_bytes(quoted(rows))
    passed = {"sheets.left_total_rows", "sheets.left_headings_again"}
    told = sum(len(left.rows) for left in taken.left if left.fault.key in passed)
    held = sum(any(cell.strip() for cell in row) for row in rows)
    assert taken.rows_taken + taken.rows_refused + told == held


@given(TABLES)
def test_a_blank_state_never_becomes_an_observation(take_bytes: Any, rows: list[tuple[str, ...]]) -> None:
    taken: Taken = take_bytes(quoted(rows))
    lines = {entry.values["line"] for entry in taken.entries if entry.kind == "observation"}
    blank = {str(number) for number, row in enumerate(rows, start=2) if not row[HEAD.index("status")].strip()}
    assert not lines & blank


@given(TABLES)
def test_every_sentence_of_the_account_can_be_said_in_both_languages(take_bytes: Any, rows: list[tuple[str, ...]]) -> None:
    taken: Taken = take_bytes(quoted(rows))
    told = [*taken.refused, *taken.asks, *taken.left]
    assert all(one.text("en") and one.text("es") for one in told)


@given(st.binary(max_size=200) | st.text(max_size=200).map(str.encode))
def test_any_bytes_are_a_mapping_or_refused_as_one(body: bytes) -> None:
    try:
        mapping = read_mapping(body)
    except SheetError as error:
        assert error.texts("en") and error.texts("es")
    else:
        assert mapping.digest


TOML = st.recursive(
    st.sampled_from(['"long"', '"A"', "1", "1.5", "true", "2019-08-01", '""', "[]", "{}", '["A", 1]', "[{}]"]),
    lambda inner: st.dictionaries(st.sampled_from(["dead", "site", "tag", "seen_on", "columns", "x"]), inner, max_size=3).map(
        lambda table: "{" + ", ".join(f"{key} = {value}" for key, value in table.items()) + "}"
    ),
    max_leaves=6,
)
KEYS = st.sampled_from(
    ["layout", "date_order", "decimal", "blank", "columns", "status", "words", "constants", "visit", "other"]
)


@given(st.dictionaries(KEYS, TOML, max_size=5))
def test_any_toml_is_a_mapping_or_refused_as_one(raw: dict[str, str]) -> None:
    body = "".join(f"{key} = {value}\n" for key, value in raw.items()).encode()
    try:
        assert isinstance(read_mapping(body), Mapping)
    except SheetError as error:
        assert error.texts("es")


@pytest.fixture(scope="session")
def take_bytes(monitoring: Any, remembered: type[Names]) -> Any:
    def taken(body: bytes) -> Taken:
        return take(sheet_of(body, file="a.csv"), Mapping(), remembered(), monitoring, today=date(2026, 1, 15))

    return taken
