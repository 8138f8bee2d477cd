"""Corals are found by any tag that they wear or wore, and by one that it may be taken for."""

from __future__ import annotations

from pathlib import Path

from fieldkit.base import Base
from fieldkit.register.names import looks
from tests.support.programme import Reef, base_of


def base(folder: Path) -> tuple[Base, Reef]:
    made = Reef({"A": 3})
    said = {"coral": made.coral("101"), "tag": "B 240", "from": "2024-07-01"}
    made.lead("retagging").say("tag", said)
    return base_of(folder / "base", made.entries(), [made.protocol]), made


def test_a_coral_is_found_by_the_tag_that_it_wears_and_those_that_it_wore(tmp_path: Path) -> None:
    found, made = base(tmp_path)
    with found.view() as view:
        assert view.corals_tagged("b240") == view.corals_tagged("101") == {made.coral("101")}


def test_corals_are_found_by_the_beginning_of_a_tag(tmp_path: Path) -> None:
    found, made = base(tmp_path)
    with found.view() as view:
        assert view.corals_tagged_from("10") == {made.coral(tag) for tag in ("101", "102", "103")}


def test_a_tag_that_may_be_taken_for_another_finds_its_coral(tmp_path: Path) -> None:
    found, made = base(tmp_path)
    with found.view() as view:
        assert view.corals_tagged_alike("8Z4O") == {made.coral("101")}


def test_glyphs_that_are_confused_look_alike_and_others_do_not() -> None:
    assert looks("B104") == looks("8lO4") and looks("B104") != looks("B103")
