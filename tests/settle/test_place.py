"""Which coral an observation is of: by its own words, or as a ruling says; never guessed."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fieldkit.register.fold import Coral, Worn
from fieldkit.settle.fold import Settled
from fieldkit.settle.histories import Interval
from tests.support.plot import PLOT, Plot, coral, life, open_kinds, the_matter
from tests.support.programme import name

JUNE, JULY = "2024-06-01", "2024-07-01"


def wearing(tag: str, *worn: Worn, **values: str) -> Coral:
    """A coral called after its first tag, with the tags that it wore."""
    return replace(coral(tag, **values), tags=worn)


def placed(settled: Settled, digest: str) -> str | None:
    return settled.coral_of.get(digest)


@pytest.mark.parametrize("noted", ["101", " 101 ", "１０１"])
def test_a_tag_is_read_whatever_its_blanks_and_width(noted: str) -> None:
    plot = Plot()
    seen = plot.see(plot.dive("kai"), noted)
    assert placed(plot.settle(), seen) == name("coral", "101")


def test_letters_of_a_tag_are_read_in_either_case() -> None:
    plot = Plot([coral("B101")])
    seen = plot.see(plot.dive("kai"), "b101")
    assert placed(plot.settle(), seen) == name("coral", "B101")


def test_a_tag_of_another_plot_is_unknown_here() -> None:
    plot = Plot([coral("101", plot=name("plot", "B"))])
    plot.see(plot.dive("kai"), "101")
    assert the_matter(plot.settle(), "tag").why.key == "settle.tag_unknown"


def test_a_tag_that_no_coral_wears_is_a_matter_and_counts_nowhere() -> None:
    plot = Plot()
    seen = plot.see(plot.dive("kai"), "1O1")
    settled = plot.settle()
    assert (open_kinds(settled), settled.fates[seen], placed(settled, seen)) == (["tag"], "in a matter", None)


def test_where_the_tag_is_lost_the_position_tells_the_coral() -> None:
    plot = Plot()
    seen = plot.see(plot.dive("kai"), None, position="2")
    assert placed(plot.settle(), seen) == name("coral", "102")


def test_a_coral_picked_from_the_list_needs_neither_tag_nor_position() -> None:
    plot = Plot()
    seen = plot.see(plot.dive("kai"), None, coral=name("coral", "103"))
    assert placed(plot.settle(), seen) == name("coral", "103")


def test_a_coral_that_nobody_planted_is_a_matter() -> None:
    plot = Plot()
    plot.see(plot.dive("kai"), None, coral=name("coral", "999"))
    assert the_matter(plot.settle(), "tag").why.key == "settle.coral_unknown"


# Tags over time.


def test_a_re_used_tag_means_the_coral_that_wears_it_that_day() -> None:
    old, new = wearing("101", Worn("101", None, "2024-06-15")), wearing("102", Worn("101", "2024-06-16"))
    plot = Plot([old, new])
    seen = [plot.see(plot.dive("kai", day), "101") for day in (JUNE, JULY)]
    settled = plot.settle()
    assert [placed(settled, digest) for digest in seen] == [old.id, new.id]


def test_a_tag_worn_by_two_on_one_day_is_no_telling_of_which() -> None:
    plot = Plot([wearing("101", Worn("101")), wearing("102", Worn("101"))])
    plot.see(plot.dive("kai"), "101")
    assert the_matter(plot.settle(), "tag").why.key == "settle.tag_of_two"


def test_two_corals_that_wear_a_tag_on_the_same_days_are_a_matter_before_anybody_reads_it() -> None:
    plot = Plot([wearing("101", Worn("101", "2024-03-01")), wearing("102", Worn("1 01", "2024-05-01", "2024-06-01"))])
    assert the_matter(plot.settle(), "name").of == tuple(sorted(plot.corals))


def test_a_tag_handed_on_is_no_matter() -> None:
    plot = Plot([wearing("101", Worn("101", None, "2024-06-15")), wearing("102", Worn("101", "2024-06-16"))])
    assert open_kinds(plot.settle()) == []


def test_a_coral_with_a_new_tag_is_known_by_both() -> None:
    plot = Plot([wearing("101", Worn("101"), Worn("777", JUNE))])
    seen = [plot.see(plot.dive("kai", day), tag) for day, tag in ((JUNE, "101"), (JULY, "777"))]
    settled = plot.settle()
    assert [placed(settled, digest) for digest in seen] == [name("coral", "101")] * 2


def test_a_new_tag_is_unknown_before_the_day_it_was_hung() -> None:
    plot = Plot([wearing("101", Worn("101"), Worn("777", JULY))])
    plot.see(plot.dive("kai", JUNE), "777")
    assert open_kinds(plot.settle()) == ["tag"]


def test_a_place_planted_anew_means_the_coral_that_stands_there_that_day() -> None:
    old, new = coral("101", withdrawn_on="2024-05-01"), coral("201", planted_on="2024-05-15")
    plot = Plot([old, new])
    seen = plot.see(plot.dive("kai"), None, position="1")
    assert placed(plot.settle(), seen) == new.id


def test_a_place_where_nothing_stands_that_day_still_means_the_coral_that_stood_there() -> None:
    plot = Plot([coral("101", withdrawn_on="2024-05-01")])
    plot.see(plot.dive("kai"), None, position="1")
    assert the_matter(plot.settle(), "history").why.key == "settle.after_withdrawal"


# Rulings.


def misread(noted: str = "1O1") -> tuple[Plot, str]:
    plot = Plot()
    return plot, plot.see(plot.dive("kai"), noted, "dead")


def test_a_ruling_places_an_observation_on_its_coral() -> None:
    plot, seen = misread()
    plot.rule("tag", [seen], "place", coral=name("coral", "101"))
    settled = plot.settle()
    assert (open_kinds(settled), life(settled).settled.lost) == ([], Interval(0, 92))


def test_a_placed_observation_counts() -> None:
    plot, seen = misread()
    plot.rule("tag", [seen], "place", coral=name("coral", "101"))
    assert plot.settle().fates[seen] == "counted"


def test_an_observation_may_be_placed_on_a_coral_of_another_plot() -> None:
    plot = Plot([coral("101"), coral("201", plot=name("plot", "B"))])
    seen = plot.see(plot.dive("kai"), "2O1")
    plot.rule("tag", [seen], "place", coral=name("coral", "201"))
    assert placed(plot.settle(), seen) == name("coral", "201")


def test_a_ruling_that_places_on_a_coral_that_there_is_not_leaves_the_matter_open() -> None:
    plot, seen = misread()
    plot.rule("tag", [seen], "place", coral=name("coral", "999"))
    settled = plot.settle()
    assert (open_kinds(settled), settled.fates[seen]) == (["tag"], "in a matter")


def test_an_observation_set_aside_counts_nowhere_and_is_asked_about_no_more() -> None:
    plot, seen = misread()
    plot.rule("tag", [seen], "set_aside")
    settled = plot.settle()
    assert (open_kinds(settled), settled.fates[seen]) == ([], "set aside")


# A coral read twice in one session.


def read_twice() -> tuple[Plot, str, str]:
    plot = Plot()
    dive = plot.dive("kai")
    return plot, plot.see(dive, "101", "alive"), plot.see(dive, "101", "dead")


def test_a_coral_read_twice_in_one_session_is_one_matter_about_both_readings() -> None:
    plot, one, other = read_twice()
    assert the_matter(plot.settle(), "tag").of == tuple(sorted((one, other)))


def test_nothing_says_which_of_two_readings_is_right_so_neither_counts() -> None:
    plot, one, other = read_twice()
    settled = plot.settle()
    assert (life(settled).visits, settled.fates) == ((), dict.fromkeys((one, other), "in a matter"))


def test_the_ruling_on_a_coral_read_twice_names_the_reading_that_is_of_another() -> None:
    plot, one, other = read_twice()
    plot.rule("tag", [one, other], "place", observation=other, coral=name("coral", "102"))
    settled = plot.settle()
    assert (life(settled).settled.fate, life(settled, "102").settled.fate) == ("alive", "dead")


def test_a_ruling_that_names_none_of_the_readings_settles_nothing() -> None:
    plot, one, other = read_twice()
    plot.rule("tag", [one, other], "place", coral=name("coral", "102"))
    assert open_kinds(plot.settle()) == ["tag"]


def test_one_of_two_readings_set_aside_leaves_the_other_to_count() -> None:
    plot, one, other = read_twice()
    plot.rule("tag", [one, other], "set_aside", observation=one)
    settled = plot.settle()
    assert (settled.fates[one], settled.fates[other]) == ("set aside", "counted")


def test_a_reading_placed_where_the_session_has_one_already_is_asked_in_its_turn() -> None:
    plot, one, other = read_twice()
    third = plot.see(plot.said[0].session, "102")
    plot.rule("tag", [one, other], "place", observation=other, coral=name("coral", "102"))
    matters = [matter for matter in plot.settle().matters if matter.is_open]
    assert [matter.of for matter in matters] == [tuple(sorted((other, third)))]


def test_of_three_readings_two_are_left_to_ask_about() -> None:
    plot, one, other = read_twice()
    third = plot.see(plot.said[0].session, "101")
    plot.rule("tag", [one, other, third], "set_aside", observation=third)
    matters = [matter for matter in plot.settle().matters if matter.is_open]
    assert [matter.of for matter in matters] == [tuple(sorted((one, other)))]


def test_a_reading_placed_where_it_is_leaves_the_coral_read_twice() -> None:
    plot, one, other = read_twice()
    plot.rule("tag", [one, other], "place", observation=other, coral=name("coral", "101"))
    settled = plot.settle()
    assert (open_kinds(settled), life(settled).visits) == (["tag"], ())


def test_rulings_that_lead_back_to_where_they_began_leave_the_coral_read_twice() -> None:
    plot, one, other = read_twice()
    third = plot.see(plot.said[0].session, "102")
    plot.rule("tag", [one, other], "place", observation=other, coral=name("coral", "102"))
    plot.rule("tag", [other, third], "place", observation=other, coral=name("coral", "101"))
    (asked,) = [matter for matter in plot.settle().matters if matter.is_open]
    assert asked.of == tuple(sorted((one, other)))


def test_a_coral_read_by_tag_and_by_position_in_one_session_was_read_twice() -> None:
    plot = Plot()
    dive = plot.dive("kai")
    plot.see(dive, "101")
    plot.see(dive, None, position="1")
    assert open_kinds(plot.settle()) == ["tag"]


def test_two_sessions_that_read_one_coral_read_it_once_each() -> None:
    plot = Plot()
    for called in ("kai", "noa"):
        plot.see(plot.dive(called), "101")
    assert open_kinds(plot.settle()) == []


def test_a_matter_about_a_tag_belongs_to_the_plot_that_the_slate_names() -> None:
    plot, _ = misread()
    assert the_matter(plot.settle(), "tag").unit == PLOT
