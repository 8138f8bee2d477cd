"""Two sessions that saw one coral on one visit: when they agree, when they differ, and what a ruling makes of it."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from fieldkit.settle.histories import Interval
from tests.support.plot import Plot, life, matters, open_kinds, the_matter

ALIVE, DEAD, MISSING = {"status": "alive"}, {"status": "dead"}, {"status": "missing"}


def seen_by_two(one: dict[str, Any], other: dict[str, Any], days: tuple[str, str] = ("2024-06-01", "2024-06-01")) -> Plot:
    """A plot in which two recorders saw coral 101."""
    plot = Plot()
    for called, day, values in zip(("kai", "noa"), days, (one, other), strict=True):
        plot.see(plot.dive(called, day), "101", **values)
    return plot


def digests(plot: Plot) -> list[str]:
    return [entry.digest for entry in plot.said]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ({"live_tissue": "80"}, {"live_tissue": "90"}),  # agree_within = 10
        ({"size_cm": "12,0"}, {"size_cm": "14"}),  # agree_within = 2, and a comma is a decimal mark
        ({"bleaching": "pale"}, {}),  # not looked at is no disagreement
        ({"note": "a snail"}, {"note": "no snail"}),  # words are read, not compared
        ({"disease": ["tissue_loss", "colour_change"]}, {"disease": ["colour_change", "tissue_loss"]}),
    ],
)
def test_observations_within_the_tolerance_agree(one: dict[str, Any], other: dict[str, Any]) -> None:
    settled = seen_by_two({**ALIVE, **one}, {**ALIVE, **other}).settle()
    assert open_kinds(settled) == []


def test_of_two_that_agree_one_counts_and_the_other_is_kept_as_evidence() -> None:
    settled = seen_by_two(ALIVE, ALIVE).settle()
    assert sorted(settled.fates.values()) == ["agrees with a counted one", "counted"]


def test_what_only_one_of_the_two_looked_at_is_known_of_the_visit() -> None:
    settled = seen_by_two({**ALIVE, "size_cm": "12"}, {**ALIVE, "bleaching": "pale"}).settle()
    assert life(settled).visits[0].values == {"status": "alive", "size_cm": "12", "bleaching": "pale"}


def test_a_matter_names_each_field_that_differs_and_who_said_what() -> None:
    plot = seen_by_two({**ALIVE, "size_cm": "12", "live_tissue": "90"}, {**ALIVE, "size_cm": "15", "live_tissue": "95"})
    matter = the_matter(plot.settle(), "double")
    assert matter.fields == {"size_cm": dict(zip(digests(plot), ("12", "15"), strict=True))}


def test_one_matter_holds_all_fields_in_which_two_observations_differ() -> None:
    plot = seen_by_two({**ALIVE, "size_cm": "12", "live_tissue": "50"}, {**ALIVE, "size_cm": "15", "live_tissue": "95"})
    assert set(the_matter(plot.settle(), "double").fields) == {"live_tissue", "size_cm"}


def test_while_a_measure_differs_the_state_counts_and_the_measure_is_unknown() -> None:
    settled = seen_by_two({**ALIVE, "size_cm": "12"}, {**ALIVE, "size_cm": "15"}).settle()
    assert (life(settled).visits[0].state, life(settled).visits[0].values) == ("alive", {"status": "alive"})


def test_a_visit_whose_state_differs_gives_no_state() -> None:
    settled = seen_by_two(ALIVE, DEAD).settle()
    assert life(settled).settled.lost == Interval(0, None)
    assert life(settled).is_disputed


def test_observations_of_a_disputed_state_are_in_a_matter() -> None:
    settled = seen_by_two(ALIVE, MISSING).settle()
    assert set(settled.fates.values()) == {"in a matter"}


def test_agreement_is_asked_of_every_pair_though_neighbours_agree() -> None:
    plot = Plot()
    for called, share in (("kai", "70"), ("noa", "80"), ("mei", "90")):
        plot.see(plot.dive(called), "101", live_tissue=share)
    assert len(the_matter(plot.settle(), "double").of) == 3


# Days within a visit.


def test_alive_counts_on_the_latest_day_of_the_visit() -> None:
    settled = seen_by_two(ALIVE, ALIVE, ("2024-06-01", "2024-06-02")).settle()
    assert life(settled).visits[0].days == {"alive": date(2024, 6, 2)}


@pytest.mark.parametrize("gone", [DEAD, MISSING])
def test_dead_and_missing_count_on_the_earliest_day_of_the_visit(gone: dict[str, Any]) -> None:
    settled = seen_by_two(gone, gone, ("2024-06-02", "2024-06-01")).settle()
    assert life(settled).visits[0].days == {gone["status"]: date(2024, 6, 1)}


# Rulings.


def ruled(one: dict[str, Any], other: dict[str, Any], answer: str, **keys: Any) -> Plot:
    plot = seen_by_two(one, other)
    plot.rule("double", digests(plot), answer, **keys)
    return plot


def test_a_ruled_state_counts_and_who_said_otherwise_is_overruled() -> None:
    plot = ruled(ALIVE, DEAD, "use", fields={"status": "dead"})
    settled = plot.settle()
    assert [settled.fates[digest] for digest in digests(plot)] == ["overruled", "counted"]


def test_a_ruled_state_gives_the_interval() -> None:
    assert life(ruled(ALIVE, DEAD, "use", fields={"status": "dead"}).settle()).settled.lost == Interval(0, 92)


def test_a_ruled_state_that_nobody_noted_counts_on_the_last_day_of_the_visit() -> None:
    plot = seen_by_two(ALIVE, DEAD, ("2024-06-01", "2024-06-02"))
    plot.rule("double", digests(plot), "use", fields={"status": "missing"})
    assert life(plot.settle()).visits[0].days == {"missing": date(2024, 6, 2)}


def test_a_ruled_value_is_that_of_the_visit() -> None:
    plot = ruled({**ALIVE, "size_cm": "12"}, {**ALIVE, "size_cm": "15"}, "use", fields={"size_cm": "15"})
    assert life(plot.settle()).visits[0].values["size_cm"] == "15"


def test_a_ruling_on_one_of_two_fields_counts_and_leaves_the_other_open() -> None:
    one, other = {**ALIVE, "size_cm": "12", "live_tissue": "50"}, {**ALIVE, "size_cm": "15", "live_tissue": "95"}
    settled = ruled(one, other, "use", fields={"size_cm": "15"}).settle()
    assert life(settled).visits[0].values == {"status": "alive", "size_cm": "15"}
    assert open_kinds(settled) == ["double"]


def test_a_ruling_does_not_touch_a_field_on_which_the_observations_agree() -> None:
    one, other = {**ALIVE, "size_cm": "12", "live_tissue": "50"}, {**ALIVE, "size_cm": "15", "live_tissue": "50"}
    plot = ruled(one, other, "use", fields={"size_cm": "15", "live_tissue": "10"})
    assert life(plot.settle()).visits[0].values["live_tissue"] == "50"


def test_a_ruling_with_a_state_that_there_is_not_settles_nothing() -> None:
    settled = ruled(ALIVE, DEAD, "use", fields={"status": "asleep"}).settle()
    assert (open_kinds(settled), life(settled).settled.lost) == (["double"], Interval(0, None))


@pytest.mark.parametrize("state", ["alive", "dead"])
def test_where_both_stand_alive_and_dead_hold_over_missing(state: str) -> None:
    settled = ruled({"status": state}, MISSING, "both_stand").settle()
    assert life(settled).visits[0].state == state
    assert open_kinds(settled) == []


def test_where_both_stand_the_one_that_yields_is_overruled() -> None:
    plot = ruled(MISSING, ALIVE, "both_stand")
    assert plot.settle().fates[digests(plot)[0]] == "overruled"


def test_alive_and_dead_cannot_both_stand() -> None:
    settled = ruled(ALIVE, DEAD, "both_stand").settle()
    assert (open_kinds(settled), life(settled).visits[0].is_disputed) == (["double"], True)


def test_where_both_stand_a_measure_that_differs_stays_unknown_and_is_asked_no_more() -> None:
    settled = ruled({**ALIVE, "size_cm": "12"}, {**ALIVE, "size_cm": "15"}, "both_stand").settle()
    assert (open_kinds(settled), life(settled).visits[0].values) == ([], {"status": "alive"})


def test_both_set_aside_count_nowhere_and_are_still_shown() -> None:
    settled = ruled(ALIVE, DEAD, "set_aside").settle()
    assert set(settled.fates.values()) == {"set aside"}
    assert life(settled).settled.lost == Interval(0, None)


def test_one_of_the_two_set_aside_leaves_the_other_to_count() -> None:
    plot = seen_by_two(ALIVE, DEAD)
    plot.rule("double", digests(plot), "set_aside", observation=digests(plot)[1])
    settled = plot.settle()
    assert [settled.fates[digest] for digest in digests(plot)] == ["counted", "set aside"]


def test_a_matter_that_was_settled_stays_to_be_seen() -> None:
    plot = seen_by_two(ALIVE, DEAD)
    ruling = plot.rule("double", digests(plot), "set_aside", observation=digests(plot)[1])
    assert the_matter(plot.settle(), "double").ruling == ruling


def test_one_of_the_two_may_be_another_coral() -> None:
    plot = seen_by_two(ALIVE, DEAD)
    plot.rule("double", digests(plot), "place", observation=digests(plot)[1], coral=next(reversed(plot.corals)))
    settled = plot.settle()
    assert (life(settled).settled.fate, life(settled, "103").settled.fate) == ("alive", "dead")


def test_a_late_observation_opens_a_ruled_matter_again_and_the_old_ruling_applies_no_more() -> None:
    plot = ruled(ALIVE, DEAD, "use", fields={"status": "alive"})
    plot.see(plot.dive("mei"), "101", "dead")
    settled = plot.settle()
    assert the_matter(settled, "double").ruling is None
    assert life(settled).visits[0].is_disputed


def test_an_observation_of_another_coral_leaves_a_ruling_as_it_is() -> None:
    plot = ruled(ALIVE, DEAD, "use", fields={"status": "alive"})
    plot.see(plot.dive("mei"), "102", "dead")
    assert life(plot.settle()).visits[0].state == "alive"


def test_of_two_rulings_that_differ_none_applies() -> None:
    plot = ruled(ALIVE, DEAD, "use", fields={"status": "alive"})
    plot.rule("double", digests(plot), "use", fields={"status": "dead"})
    assert the_matter(plot.settle(), "double").is_open


def test_two_rulings_that_say_the_same_are_one() -> None:
    plot = ruled(ALIVE, DEAD, "use", fields={"status": "alive"}, why="I saw it")
    plot.rule("double", digests(plot), "use", fields={"status": "alive"}, why="so did I")
    assert life(plot.settle()).visits[0].state == "alive"


def test_a_ruling_of_another_kind_about_the_same_observations_does_nothing() -> None:
    plot = seen_by_two(ALIVE, DEAD)
    plot.rule("history", digests(plot), "use", fields={"status": "alive"})
    assert matters(plot.settle(), "double")[0].is_open
