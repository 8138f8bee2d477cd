"""A base that takes the sample in asks about every planted flaw that it can know of, and about nothing else."""

from __future__ import annotations

from typing import Any

import pytest

from fieldkit.base import Base, MatterRow

FOUND_BY_THE_FOLD = ("double", "tag", "history", "size", "same_slate", "date", "site")


@pytest.fixture(scope="module")
def matters(sample: Any) -> list[MatterRow]:
    """What is open once all three devices have handed in."""
    with Base(sample.folder).view() as view:
        return view.matters()


def about(flaw: dict[str, Any]) -> set[str]:
    return {*(entry.digest for entry in (*flaw["of"], *flaw["past"])), *flaw["sessions"]}


@pytest.mark.parametrize("kind", FOUND_BY_THE_FOLD)
def test_every_planted_flaw_becomes_the_matter_that_the_truth_names(kind: str, sample: Any, matters: list[MatterRow]) -> None:
    asked = {name for matter in matters if matter.kind == kind for name in matter.of}
    planted = [
        flaw for name in {f["kind"] for f in sample.truth["flaws"]} for flaw in sample.planted(name) if flaw["matter"] == kind
    ]
    assert planted
    assert all(about(flaw) & asked for flaw in planted)


def test_nothing_is_asked_of_the_boat_day_that_was_not_planted(sample: Any, matters: list[MatterRow]) -> None:
    planted = {
        name for kind in {f["kind"] for f in sample.truth["flaws"]} for flaw in sample.planted(kind) for name in about(flaw)
    }
    session_of = {entry.digest: entry.session for entry in sample.day}
    for matter in matters:
        of_the_day = {name for name in matter.of if name in session_of}
        # A session with a wrong date contradicts the past in each of its rows.
        assert all(name in planted or session_of[name] in planted for name in of_the_day), matter


def test_the_past_asks_only_about_counts_that_rise(sample: Any, matters: list[MatterRow]) -> None:
    day = {entry.digest for entry in sample.day} | {entry.session for entry in sample.day}
    mistaken = {digest for said in sample.truth["past"]["mistaken"].values() for digest in said}
    assert {matter.kind for matter in matters if not set(matter.of) & (day | mistaken)} == {"count"}
