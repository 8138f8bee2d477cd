"""What cannot be in the life of a coral: what is asked, what counts meanwhile, and what a ruling makes of it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fieldkit.settle.histories import Interval
from tests.support.plot import Plot, coral, life, matters, open_kinds, the_matter
from tests.support.programme import name

JUNE, DECEMBER = "2024-06-01", "2024-12-01"  # ages 92 and 275


def alive_after_dead() -> tuple[Plot, str, str]:
    plot = Plot()
    return plot, plot.see(plot.dive("kai", JUNE), "101", "dead"), plot.see(plot.dive("kai", DECEMBER), "101", "alive")


def test_alive_after_dead_is_a_matter_about_the_observations_of_both_days() -> None:
    plot, dead, alive = alive_after_dead()
    assert the_matter(plot.settle(), "history").of == tuple(sorted((dead, alive)))


def test_alive_after_dead_counts_as_alive_and_is_named_as_unsettled() -> None:
    plot, *_ = alive_after_dead()
    found = life(plot.settle())
    assert (found.settled.lost, found.is_disputed) == (Interval(275, None), True)


def test_the_worst_answer_to_alive_after_dead_is_that_the_death_stands() -> None:
    plot, *_ = alive_after_dead()
    assert life(plot.settle()).worst.lost == Interval(0, 92)


def test_an_odd_history_that_stands_is_settled_and_counts_as_it_did() -> None:
    plot, dead, alive = alive_after_dead()
    plot.rule("history", [dead, alive], "stands")
    settled = plot.settle()
    assert (open_kinds(settled), life(settled).settled.lost) == ([], Interval(275, None))


def test_a_ruling_that_sets_one_observation_aside_leaves_the_other_to_count() -> None:
    plot, dead, alive = alive_after_dead()
    plot.rule("history", [dead, alive], "set_aside", observation=alive)
    settled = plot.settle()
    assert (life(settled).settled.lost, settled.fates[alive]) == (Interval(0, 92), "set aside")


def test_a_ruling_that_names_no_observation_sets_all_of_them_aside() -> None:
    plot, dead, alive = alive_after_dead()
    plot.rule("history", [dead, alive], "set_aside")
    assert life(plot.settle()).settled.lost == Interval(0, None)


def test_a_history_settled_by_setting_aside_stays_to_be_seen() -> None:
    plot, dead, alive = alive_after_dead()
    ruling = plot.rule("history", [dead, alive], "set_aside", observation=alive)
    assert the_matter(plot.settle(), "history").ruling == ruling


def test_one_of_the_observations_may_be_of_another_coral() -> None:
    plot, dead, alive = alive_after_dead()
    plot.rule("history", [dead, alive], "place", observation=alive, coral=name("coral", "102"))
    settled = plot.settle()
    assert (life(settled).settled.fate, life(settled, "102").settled.lost) == ("dead", Interval(275, None))


def test_an_observation_placed_on_the_coral_that_it_is_of_settles_nothing() -> None:
    plot, dead, alive = alive_after_dead()
    plot.rule("history", [dead, alive], "place", observation=alive, coral=name("coral", "101"))
    settled = plot.settle()
    assert (open_kinds(settled), life(settled).settled.lost) == (["history"], Interval(275, None))


def test_an_observation_placed_where_it_cannot_be_is_asked_about_there() -> None:
    plot, dead, alive = alive_after_dead()
    plot.see(plot.dive("kai", JUNE), "102", "dead")
    plot.rule("history", [dead, alive], "place", observation=alive, coral=name("coral", "102"))
    (asked,) = [matter for matter in matters(plot.settle(), "history") if matter.is_open]
    assert asked.corals == (name("coral", "102"),)


def test_a_later_sighting_alive_leaves_a_ruling_on_the_history_in_force() -> None:
    plot, dead, alive = alive_after_dead()
    plot.rule("history", [dead, alive], "stands")
    plot.see(plot.dive("kai", "2025-06-01"), "101", "alive")
    assert open_kinds(plot.settle()) == []


def test_retracting_a_ruling_gives_back_the_state_before_it() -> None:
    plot, dead, alive = alive_after_dead()
    before = plot.settle()
    plot.rule("history", [dead, alive], "set_aside", observation=alive)
    plot.rulings.clear()
    assert plot.settle() == before


# What cannot be at all counts nowhere.


def impossible(kind: str) -> tuple[Plot, str]:
    """A plot with one such observation, and its digest."""
    values = {"after_withdrawal": {"withdrawn_on": JUNE}}.get(kind, {})
    plot = Plot([coral("101", **values)])
    day, status = {
        "before_planting": ("2024-02-01", "alive"),
        "after_withdrawal": (DECEMBER, "alive"),
        "missing_on_planting_day": ("2024-03-01", "missing"),
    }[kind]
    return plot, plot.see(plot.dive("kai", day), None, status, coral=name("coral", "101"))


IMPOSSIBLE = ("before_planting", "after_withdrawal", "missing_on_planting_day")


@pytest.mark.parametrize("kind", IMPOSSIBLE)
def test_what_cannot_be_is_a_matter(kind: str) -> None:
    plot, seen = impossible(kind)
    matter = the_matter(plot.settle(), "history")
    assert (matter.why.key, matter.of) == (f"settle.{kind}", (seen,))


@pytest.mark.parametrize("kind", IMPOSSIBLE)
def test_what_cannot_be_counts_nowhere(kind: str) -> None:
    plot, seen = impossible(kind)
    settled = plot.settle()
    assert (settled.fates[seen], life(settled).settled.lost) == ("in a matter", Interval(0, None))


@pytest.mark.parametrize("kind", IMPOSSIBLE)
def test_what_cannot_be_cannot_stand(kind: str) -> None:
    plot, seen = impossible(kind)
    plot.rule("history", [seen], "stands")
    assert open_kinds(plot.settle()) == ["history"]


@pytest.mark.parametrize("kind", IMPOSSIBLE)
def test_what_cannot_be_can_be_set_aside(kind: str) -> None:
    plot, seen = impossible(kind)
    plot.rule("history", [seen], "set_aside")
    settled = plot.settle()
    assert (open_kinds(settled), settled.fates[seen]) == ([], "set aside")


def test_dead_on_the_planting_day_counts_and_is_asked() -> None:
    plot = Plot()
    seen = plot.see(plot.dive("kai", "2024-03-01"), "101", "dead")
    settled = plot.settle()
    assert (life(settled).settled.lost, settled.fates[seen], open_kinds(settled)) == (Interval(0, 0), "counted", ["history"])


def test_a_withdrawal_before_the_planting_is_asked_of_the_register() -> None:
    plot = Plot([coral("101", withdrawn_on="2024-02-01")])
    matter = the_matter(plot.settle(), "history")
    assert (matter.why.key, matter.of, matter.answers) == (
        "settle.withdrawn_before_planting",
        plot.corals[name("coral", "101")].said_by,
        (),
    )


def test_what_the_register_says_in_two_ways_is_a_matter_that_names_the_value() -> None:
    plot = Plot([replace(coral("101"), disputed=("planted_on",))])
    assert the_matter(plot.settle(), "corrected_twice").why.data == {"fields": "planted_on"}


def test_missing_and_alive_later_was_never_missing_and_is_no_matter() -> None:
    plot = Plot()
    plot.see(plot.dive("kai", JUNE), "101", "missing")
    plot.see(plot.dive("kai", DECEMBER), "101", "alive")
    settled = plot.settle()
    assert (open_kinds(settled), life(settled).settled.lost) == ([], Interval(275, None))


# The cause of death.


def test_the_cause_is_what_was_seen_when_the_coral_was_first_found_dead() -> None:
    plot = Plot()
    for day, cause in ((JUNE, "disease"), (DECEMBER, "storm")):
        plot.see(plot.dive("kai", day), "101", "dead", cause=cause)
    assert life(plot.settle()).cause == "disease"


def test_a_cause_on_which_two_differ_is_unknown_until_it_is_settled() -> None:
    plot = Plot()
    seen = [plot.see(plot.dive(who), "101", "dead", cause=cause) for who, cause in (("kai", "disease"), ("noa", "storm"))]
    before = life(plot.settle()).cause
    plot.rule("double", seen, "use", fields={"cause": "storm"})
    assert (before, life(plot.settle()).cause) == (None, "storm")
