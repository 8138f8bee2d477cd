"""A series of tags says which corals were planted, and is refused where it could be read in two ways."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldkit.register.names import folded
from fieldkit.register.tags import MOST, Series, Tagged, read_series

GENOTYPES = {"g07": "seven", "g12": "twelve"}


CASES = json.loads((Path(__file__).parents[1] / "cases" / "register" / "series.json").read_text("utf-8"))


def read(text: str, otherwise: str | None = None) -> Series:
    return read_series(text, lambda word: GENOTYPES.get(folded(word)), ("G07", "G12"), otherwise=otherwise)


def keys(text: str, otherwise: str | None = None) -> list[str]:
    return [fault.key.removeprefix("programme.") for fault in read(text, otherwise).faults]


def test_a_range_is_every_tag_from_its_first_to_its_last() -> None:
    assert read("B101-B110, G07").tagged == tuple(Tagged(f"B{number}", "seven") for number in range(101, 111))


@pytest.mark.parametrize(
    "text",
    ["B099-B101, G07", "B099-101, G07", "b099–B101; g 07", "B099 - B101\nG07", "B099, B100, B101, G07", ",B099-101,,G07,"],
)
def test_a_range_may_be_written_in_many_ways(text: str) -> None:
    assert [folded(one.tag) for one in read(text).tagged] == ["b099", "b100", "b101"]


def test_leading_zeros_stay() -> None:
    assert [one.tag for one in read("A008-A011, G07").tagged] == ["A008", "A009", "A010", "A011"]


def test_a_genotype_is_that_of_the_tags_before_it() -> None:
    found = read("B1-B2, B7, G07, B3-B4, G12").tagged
    assert {one.tag: one.genotype for one in found} == {
        "B1": "seven", "B2": "seven", "B7": "seven", "B3": "twelve", "B4": "twelve",
    }  # fmt: skip


def test_a_hyphen_within_a_tag_is_no_range() -> None:
    assert [one.tag for one in read("LAN-03, LAN-07-LAN-08, G07").tagged] == ["LAN-03", "LAN-07", "LAN-08"]


def test_tags_that_no_genotype_follows_are_of_the_lot_they_came_from() -> None:
    assert read("B1-B2, G07, B3", otherwise="twelve").tagged[-1] == Tagged("B3", "twelve")


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("", "no_tags"),
        ("B101-B110", "no_genotype_named"),
        ("B101-B110, G99", "no_genotype_named"),
        ("G07, B101", "genotype_of_none"),
        ("B110-B101, G07", "range_backwards"),
        ("B101-B101, G07", "range_backwards"),
        ("B101-C110, G07", "range_of_two"),
        ("B99-B101x, G07", "range_of_two"),
        ("A1-05, G07", "range_of_two"),
        ("B9-B010, G07", "range_of_two"),
        ("B1-B3, b 2, G07", "tag_twice"),
        (f"B1-B{MOST + 1}, G07", "too_many_tags"),
        ("B1-B999999999, G07", "too_many_tags"),
        ("X" * 41 + ", G07", "tag_too_long"),
    ],
)
def test_what_can_be_read_in_two_ways_or_not_at_all_is_refused(text: str, key: str) -> None:
    assert key in keys(text)


def test_the_fault_of_a_genotype_that_is_not_known_names_the_nearest() -> None:
    (fault,) = read("B101-B110, G70").faults
    assert fault.data["word"] == "G70" and "G07" in fault.data["known"]


@given(st.text(max_size=60))
def test_no_text_makes_two_corals_of_one_tag_or_more_than_a_crew_plants(text: str) -> None:
    found = read(text, otherwise="seven")
    tags = [folded(one.tag) for one in found.tagged]
    assert found.faults or (len(set(tags)) == len(tags) <= MOST)


@given(st.integers(0, 9000), st.integers(1, MOST - 1), st.sampled_from(["", "B", "LAN-", "é"]))
def test_a_range_holds_as_many_corals_as_its_ends_say(first: int, more: int, prefix: str) -> None:
    width = len(str(first + more))
    found = read(f"{prefix}{first:0{width}d}-{prefix}{first + more:0{width}d}, G07")
    assert len(found.tagged) == more + 1


@pytest.mark.parametrize("case", CASES, ids=lambda case: str(case["name"]))
def test_a_series_is_read_as_the_cases_for_both_sides_have_it(case: dict[str, Any]) -> None:
    found = read(case["text"], case.get("otherwise"))
    faults = [[one.key.removeprefix("programme."), {n: v for n, v in one.data.items() if n != "known"}] for one in found.faults]
    assert faults == case["faults"]
    if not faults:
        assert [[one.tag, one.genotype] for one in found.tagged] == case["tagged"]
