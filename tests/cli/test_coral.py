"""`fieldkit coral`: one coral by tag or id, and what is said where that is not one."""

from __future__ import annotations

from pathlib import Path

from tests.cli.terminal import typed
from tests.support.programme import name


def test_the_life_of_a_coral_is_told_by_its_tag_or_its_id(reef: Path) -> None:
    by_tag, by_id = typed(reef, "coral", "102"), typed(reef, "coral", name("coral", "102"))
    assert by_tag.out == by_id.out and by_tag.code == 0
    assert "Missing left open: Lost after 2024-03-01 (0 days) and by 2024-09-01 (184 days)." in by_tag.lines


def test_where_several_are_meant_each_is_named_with_its_id(reef: Path) -> None:
    told = typed(reef, "coral", "10")
    assert told.code == 2 and all(name("coral", tag) in told.err for tag in ("101", "102", "103"))


def test_a_tag_that_no_coral_wears_names_those_it_may_be_taken_for(reef: Path) -> None:
    told = typed(reef, "coral", "1O2")
    assert told.code == 2 and "Near it: 102." in told.err


def test_the_json_holds_all_that_was_seen(reef: Path) -> None:
    told = typed(reef, "coral", "102", "--json").json
    assert (told["fate"], told["died"]["lost"], [one["fate"] for one in told["seen"]]) == ("dead", [0, 184], ["counted"])
