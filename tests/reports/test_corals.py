"""Corals are found by what they are called and where they stand, and their lives are told whole."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from fieldkit.base import Answer, Base, statement
from fieldkit.reports.corals import CoralLife, Found, Wanted, as_json, coral_life, find
from tests.support.programme import Reef, base_of, name

TODAY = date(2026, 11, 30)


def base(folder: Path, made: Reef) -> Base:
    return base_of(folder / "base", made.entries(), [made.protocol])


def found(folder: Path, made: Reef, page: int = 1, at_once: int = 50, **wanted: str) -> Found:
    with base(folder, made).view() as view:
        return find(view, Wanted(**wanted), page, at_once=at_once)


def life(base: Base, made: Reef, tag: str = "101") -> CoralLife:
    with base.view() as view:
        told = coral_life(view, made.coral(tag), base.protocol, TODAY)
    assert told
    return told


def called(corals: Any) -> list[str]:
    return [one.called for one in corals]


# Finding.


@pytest.mark.parametrize(
    ("wanted", "tags"),
    [
        ({}, ["101", "102", "103", "201", "202"]),
        ({"tag": "102"}, ["102"]),
        ({"tag": "10"}, ["101", "102", "103"]),
        ({"plot": "b"}, ["201", "202"]),
        ({"plot": "B", "tag": "2"}, ["202"]),
        ({"site": "AMO", "genotype": "g1", "tag": "201"}, ["201"]),
        ({"fate": "dead"}, ["102"]),
        ({"fate": "dead", "plot": "B"}, []),
        ({"plot": "C"}, []),
        ({"genotype": "G2"}, []),
        ({"tag": "%"}, []),
        ({"tag": " "}, []),
    ],
)
def test_corals_are_found_by_whatever_is_known_of_them(wanted: dict[str, str], tags: list[str], tmp_path: Path) -> None:
    made = Reef({"A": 3, "B": 2})
    made.see(made.dive("KT", "2024-06-01"), "102", "dead")
    told = found(tmp_path, made, **wanted)
    assert (called(told.corals), told.total) == (tags, len(tags))


def test_a_coral_is_found_by_its_id(tmp_path: Path) -> None:
    made = Reef()
    assert called(found(tmp_path, made, tag=made.coral("103")).corals) == ["103"]


def test_a_coral_that_got_a_new_tag_is_found_by_the_old_one_too(tmp_path: Path) -> None:
    made = Reef({"A": 3})
    book = made.dive("KT", "2024-06-01")
    book.say("action", {"row": name("tag"), "coral": made.coral("101"), "done": "new tag", "tag": "B240"})
    (coral,) = found(tmp_path, made, tag="101").corals
    assert (coral.called, coral.tags) == ("B240", ("101", "B240"))


def test_a_tag_that_may_be_taken_for_another_is_offered_and_not_taken(tmp_path: Path) -> None:
    told = found(tmp_path, Reef({"A": 3}), tag="1O2")
    assert (called(told.corals), called(told.alike)) == ([], ["102"])


def test_pages_follow_each_other_without_gap_or_repeat(tmp_path: Path) -> None:
    made = Reef({"A": 12, "B": 3, "C": 11})
    base_ = base(tmp_path, made)
    with base_.view() as view:
        whole = called(find(view, Wanted(), at_once=100).corals)
        pages = [find(view, Wanted(), page, at_once=4) for page in range(1, 8)]
    assert [tag for page in pages for tag in called(page.corals)] == whole and len(whole) == 26
    assert {page.pages for page in pages} == {7}


def test_tags_stand_in_the_order_in_which_people_count(tmp_path: Path) -> None:
    made = Reef({"A": 12})
    for i in (2, 10):
        made.lead(f"tag {i}").say("tag", {"coral": made.coral(f"{100 + i}"), "tag": f"B{i}", "from": "2024-07-01"})
    assert called(found(tmp_path, made).corals)[-2:] == ["B2", "B10"]


@pytest.mark.parametrize("page", [0, 99])
def test_a_page_that_is_not_there_is_the_nearest(page: int, tmp_path: Path) -> None:
    assert found(tmp_path, Reef({"A": 3}), page).page == 1


# One life.


def test_a_life_holds_every_observation_of_the_coral_whatever_became_of_it(tmp_path: Path) -> None:
    made = Reef({"A": 3})
    kt = made.dive("KT", "2024-06-01")
    wrong = made.see(kt, "101", "dead")
    kt.say("observation", {**wrong.values, "status": "alive"}, replaces=[wrong.digest])
    made.see(made.dive("RS", "2024-06-01"), "101", "alive")
    made.see(made.dive("NL", "2024-06-01", practice=True), "101", "missing")
    made.see(made.dive("MO", "2024-09-01"), "101", None, searched="no")
    seen = life(base(tmp_path, made), made).seen
    assert sorted(one.fate for one in seen) == [
        "agrees with a counted one",
        "counted",
        "not searched",
        "practice",
        "superseded",
    ]


def test_each_observation_names_its_source(tmp_path: Path) -> None:
    made = Reef({"A": 3})
    book = made.dive("KT", "2024-06-01", typed_by="NL")
    made.see(book, "101", "alive", size_cm="12.5")
    (one,) = life(base(tmp_path, made), made).seen
    assert (one.session, one.recorder, one.typed_by, one.day, one.noted) == (book.session, "KT", "NL", "2024-06-01", "101")
    assert dict(one.values) == {"status": "alive", "size_cm": "12.5"}


def test_observations_of_other_corals_are_not_among_them(tmp_path: Path) -> None:
    made = Reef({"A": 3})
    book = made.dive("KT", "2024-06-01")
    for tag in ("101", "102", "1O3"):
        made.see(book, tag)
    assert [one.noted for one in life(base(tmp_path, made), made).seen] == ["101"]


def disputed(made: Reef) -> None:
    made.see(made.dive("KT", "2024-06-01"), "101", "alive")
    made.see(made.dive("RS", "2024-06-01"), "101", "dead")


def rule(base: Base, answer: Answer, who: str = "EA") -> None:
    with base.view() as view:
        (matter,) = view.matters()
        said = statement(base, view, matter, answer)
    base.say([said], recorder=who)


def test_what_is_open_about_a_coral_stands_with_it(tmp_path: Path) -> None:
    made = Reef({"A": 3})
    disputed(made)
    told = life(base(tmp_path, made), made)
    assert [matter.kind for matter in told.unsettled] == ["double"]
    assert [[matter.kind for matter in one.matters] for one in told.seen] == [["double"], ["double"]]


def test_a_ruling_is_told_with_who_gave_it_and_why(tmp_path: Path) -> None:
    made = Reef({"A": 3})
    disputed(made)
    base_ = base(tmp_path, made)
    rule(base_, Answer("use", values={"status": "dead"}, why="photo"))
    told = life(base_, made)
    (matter,) = told.matters
    assert told.unsettled == [] and matter.ruled
    assert (matter.ruled.answer, matter.ruled.who, matter.ruled.why) == ("use", "EA", "photo")
    assert sorted(one.fate for one in told.seen) == ["counted", "overruled"]


def test_an_observation_that_a_ruling_places_on_a_coral_is_part_of_its_life(tmp_path: Path) -> None:
    made = Reef({"A": 3})
    made.see(made.dive("KT", "2024-06-01"), "1O3")
    base_ = base(tmp_path, made)
    rule(base_, Answer("place", coral="103"))
    (one,) = life(base_, made, "103").seen
    assert (one.noted, [matter.ruled and matter.ruled.answer for matter in one.matters]) == ("1O3", ["place"])


def test_a_doubtful_day_of_its_session_is_a_matter_of_the_coral_too(tmp_path: Path) -> None:
    made = Reef({"A": 3})
    said = {
        "boat_day": name("boat"),
        "day": "2024-06-02",
        "site": made.site,
        "plots": [made.plot("A")],
        "crew": [],
        "sheets": [],
    }
    made.lead("boat").say("boat_day", said)
    made.see(made.dive("KT", "2023-06-02"), "101")
    assert "date" in [matter.kind for matter in life(base(tmp_path, made), made).unsettled]


INTERVALS: list[tuple[str, Callable[[Reef], object], Any, Any]] = [
    ("dead", lambda made: made.see(made.dive("KT", "2024-09-01"), "101", "dead"), (92, 184), (92, 184)),
    ("missing", lambda made: made.see(made.dive("KT", "2024-09-01"), "101", "missing"), (92, 184), (92, None)),
    ("alive", lambda made: made.see(made.dive("KT", "2024-09-01"), "101"), (184, None), (184, None)),
]


@pytest.mark.parametrize(("fate", "later", "lost", "open_"), INTERVALS, ids=[one[0] for one in INTERVALS])
def test_a_death_lies_in_the_interval_that_the_survival_figure_uses(
    fate: str, later: Callable[[Reef], object], lost: Any, open_: Any, tmp_path: Path
) -> None:
    """Planted on 1 March 2024, alive on 1 June (92 days), then what 1 September (184 days) shows."""
    made = Reef({"A": 3})
    made.see(made.dive("RS", "2024-06-01"), "101")
    later(made)
    told = life(base(tmp_path, made), made)
    assert told.died
    assert (told.listed.fate, told.died.lost, told.died.open, told.died.worst) == (fate, lost, open_, None)


def test_while_its_state_is_in_dispute_both_ends_of_what_settling_could_make_are_told(tmp_path: Path) -> None:
    made = Reef({"A": 3})
    disputed(made)
    died = life(base(tmp_path, made), made).died
    assert died and died.worst and died.best
    assert (died.lost, died.worst[0], died.best[0]) == ((0, None), (0, 92), (92, None))


def test_sizes_are_told_with_growth_shrinking_and_breakage(tmp_path: Path) -> None:
    made = Reef({"A": 3})
    for day, size, breakage in (("2024-06-01", "12", "none"), ("2024-09-01", "9.5", "branch"), ("2024-12-01", "10", "none")):
        made.see(made.dive("KT", day), "101", size_cm=size, breakage=breakage)
    told = life(base(tmp_path, made), made).sizes
    assert [(one.age_days, one.size, one.change, one.breakage) for one in told] == [
        (92, 12.0, None, None),
        (184, 9.5, -2.5, "branch"),
        (275, 10.0, 0.5, None),
    ]


def test_a_size_in_dispute_is_not_on_the_curve(tmp_path: Path) -> None:
    made = Reef({"A": 3})
    for who, size in (("KT", "12"), ("RS", "21")):
        made.see(made.dive(who, "2024-06-01"), "101", size_cm=size)
    assert life(base(tmp_path, made), made).sizes == ()


def test_what_was_done_is_told_and_what_was_taken_back_is_not(tmp_path: Path) -> None:
    made = Reef({"A": 3})
    book = made.dive("KT", "2024-06-01")
    said = {"coral": made.coral("101"), "plot": made.plot("A")}
    slip = book.say("action", {**said, "row": name("slip"), "done": "cleaned"})
    book.say("retract", {}, replaces=[slip.digest])
    book.say("action", {**said, "row": name("new"), "done": "reattached", "note": "epoxy"})
    (action,) = life(base(tmp_path, made), made).actions
    assert (action.done, dict(action.values), action.recorder) == (("reattached",), {"note": "epoxy"}, "KT")


def test_photos_stand_in_order_of_days_each_once(tmp_path: Path) -> None:
    made = Reef({"A": 3})
    for day, photo in (("2024-09-01", "b" * 64), ("2024-06-01", "a" * 64)):
        book = made.dive("KT", day)
        row = made.see(book, "101").values["row"]
        for _ in range(2):
            book.say("photo", {"row": row, "photo": photo, "bytes": 1, "type": "image/jpeg", "view": "whole"})
    pictures = life(base(tmp_path, made), made).pictures
    assert [(one.photo[0], one.day, one.view) for one in pictures] == [
        ("a", "2024-06-01", "whole"),
        ("b", "2024-09-01", "whole"),
    ]


def test_planting_seeing_and_doing_stand_in_one_order_of_days(tmp_path: Path) -> None:
    made = Reef({"A": 3})
    book = made.dive("KT", "2024-06-01")
    made.see(book, "101")
    said = {"row": name("later"), "coral": made.coral("101"), "done": "cleaned"}
    made.dive("RS", "2024-07-01").say("action", said)
    assert [kind for _, kind, _ in life(base(tmp_path, made), made).timeline] == ["planting", "observation", "action"]


def test_a_coral_that_lives_grows_older_and_a_dead_one_does_not(tmp_path: Path) -> None:
    made = Reef({"A": 3})
    made.see(made.dive("KT", "2024-06-01"), "102", "dead")
    base_ = base(tmp_path, made)
    assert (life(base_, made, "101").age_days, life(base_, made, "102").age_days) == ((TODAY - date(2024, 3, 1)).days, 0)


def test_a_coral_without_a_planting_day_has_no_interval_and_says_why(tmp_path: Path) -> None:
    made = Reef({"A": 1})
    said = {"coral": name("stray"), "plot": made.plot("A"), "genotype": name("genotype"), "position": "9"}
    made.lead("stray").say("coral", said)
    base_ = base(tmp_path, made)
    with base_.view() as view:
        told = coral_life(view, name("stray"), base_.protocol, TODAY)
    assert told and (told.died, told.left_out, told.age_days) == (None, "no_planting_day", None)


def test_there_is_no_life_of_a_coral_that_is_none(tmp_path: Path) -> None:
    base_ = base(tmp_path, Reef())
    with base_.view() as view:
        assert coral_life(view, name("nobody"), base_.protocol, TODAY) is None


def test_the_json_of_a_life_names_matters_by_their_ids(tmp_path: Path) -> None:
    made = Reef({"A": 3})
    disputed(made)
    told = life(base(tmp_path, made), made)
    plain = as_json(told)
    assert plain["matters"] == plain["seen"][0]["matters"] == [told.matters[0].id]
