"""What the base knows for printed slates besides the register."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from fieldkit.reports.sheets import boat_days, crew_of, last_notes, next_sheets
from tests.support.programme import Reef, base_of, name


def notes(tmp_path: Path, reef: Reef) -> dict[str, Any]:
    with base_of(tmp_path / "base", reef.entries(), [reef.protocol]).view() as view:
        return last_notes(view)


def dived(reef: Reef, day: str, note: str, **values: Any) -> None:
    reef.see(reef.dive("KT", day, note=note, **values), "101")


def test_the_newest_note_of_a_dive_at_the_plot_is_told(tmp_path: Path) -> None:
    reef = Reef()
    dived(reef, "2024-07-01", "Float gone.")
    dived(reef, "2024-06-01", "Float new.")
    told = {"note": "Float gone.", "recorder": "KT", "day": "2024-07-01"}
    assert notes(tmp_path, reef) == {reef.plot("A"): told}


@pytest.mark.parametrize(("note", "values"), [("  ", {}), ("Only trying.", {"practice": True})])
def test_neither_an_empty_note_nor_one_of_practice_is_told(tmp_path: Path, note: str, values: dict[str, Any]) -> None:
    reef = Reef()
    dived(reef, "2024-06-01", "Float new.")
    dived(reef, "2024-07-01", note, **values)
    assert notes(tmp_path, reef)[reef.plot("A")]["note"] == "Float new."


def planned(reef: Reef, called: str, *sheets: str, day: str = "2024-06-01") -> None:
    said = {"boat_day": name(called), "day": day, "site": reef.site, "plots": [reef.plot("A")], "crew": [], "sheets": [*sheets]}
    reef.lead(called).say("boat_day", said)


def test_new_sheets_go_on_after_the_highest_number_of_any_day(tmp_path: Path) -> None:
    reef = Reef()
    planned(reef, "one", "9", "10")
    planned(reef, "two", "3", "red", day="2024-07-01")
    with base_of(tmp_path / "base", reef.entries()).view() as view:
        assert next_sheets(view, 2) == ["11", "12"]


def test_the_first_sheet_is_number_one(tmp_path: Path) -> None:
    with base_of(tmp_path / "base", Reef().entries()).view() as view:
        assert next_sheets(view, 2) == ["1", "2"]


def test_a_boat_day_is_found_by_its_site_and_day(tmp_path: Path) -> None:
    reef = Reef()
    planned(reef, "one", "1")
    planned(reef, "two", "2", day="2024-07-01")
    with base_of(tmp_path / "base", reef.entries()).view() as view:
        assert [one["sheets"] for one in boat_days(view, reef.site, "2024-07-01")] == [["2"]]


def test_the_crew_is_known_by_initials_or_name_and_strangers_stay_as_written(tmp_path: Path) -> None:
    reef = Reef()
    reef.lead("people").say("person", {"person": name("kt"), "initials": "KT", "name": "Kalo Tuva"})
    with base_of(tmp_path / "base", reef.entries()).view() as view:
        assert crew_of(view, ["kt", "kalo tuva", "ZZ"]) == [name("kt"), name("kt"), "ZZ"]
