"""Counted plots: the same intervals as tags would give, with weights, as far as counts can tell."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldkit.settle.counted import Count, CountedHistory, CountFinding, Weighted, counted_history
from fieldkit.settle.histories import Interval, Sighting, history

PLANTED = date(2026, 3, 10)
Told = set[tuple[int, int | None, int]]


def told(weighted: Iterable[Weighted]) -> Told:
    return {(one.left, one.right, one.weight) for one in weighted}


def findings(planted: int, *counts: Count) -> list[tuple[str, tuple[int, ...]]]:
    return [(finding.kind, finding.ages) for finding in counted_history(planted, counts).findings]


TEN = (Count(30, 10, 0, 0), Count(90, 7, 1, 2), Count(180, 7, 1, 2), Count(365, 6, 2, 2))


def test_what_alive_falls_by_was_lost_between_the_two_counts() -> None:
    assert told(counted_history(10, TEN).lost) == {(30, 90, 3), (180, 365, 1), (365, None, 6)}


def test_left_open_what_dead_rises_by_died_and_the_rest_is_censored_at_the_count_before() -> None:
    assert told(counted_history(10, TEN).open) == {(30, 90, 1), (30, None, 2), (180, 365, 1), (365, None, 6)}


def test_before_the_first_count_corals_are_at_risk_from_the_planting() -> None:
    assert told(counted_history(10, [Count(30, 8, 1, 1)]).lost) == {(0, 30, 2), (30, None, 8)}


def test_a_plot_never_counted_is_at_risk_from_age_0() -> None:
    assert counted_history(10, []) == CountedHistory((Weighted(0, None, 10),), (Weighted(0, None, 10),), ())


def test_corals_that_no_count_accounts_for_are_lost_as_missing_ones_are() -> None:
    found = counted_history(10, [Count(30, 8, 0, 0)])
    assert told(found.lost) == {(0, 30, 2), (30, None, 8)}
    assert told(found.open) == {(0, None, 2), (30, None, 8)}


def test_a_plot_where_all_are_lost_has_no_row_without_weight() -> None:
    assert told(counted_history(3, [Count(30, 0, 3, 0), Count(90, 0, 3, 0)]).lost) == {(0, 30, 3)}


def test_where_alive_rises_the_earlier_counts_are_raised_to_the_later() -> None:
    counts = [Count(30, 9, 0, 1), Count(90, 5, 0, 5), Count(180, 8, 0, 2)]
    assert told(counted_history(10, counts).lost) == {(0, 30, 1), (30, 90, 1), (180, None, 8)}


def test_where_alive_rises_a_finding_names_the_counts_raised_and_the_one_they_are_raised_to() -> None:
    assert findings(10, Count(30, 9, 0, 1), Count(90, 5, 0, 5), Count(180, 4, 0, 6), Count(365, 8, 0, 2)) == [
        ("alive_rises", (90, 180, 365))
    ]


def test_each_count_that_others_are_raised_to_is_a_finding_of_its_own() -> None:
    assert findings(10, Count(30, 7, 0, 3), Count(90, 8, 0, 2), Count(180, 5, 0, 5), Count(365, 6, 0, 4)) == [
        ("alive_rises", (30, 90)),
        ("alive_rises", (180, 365)),
    ]


def test_as_many_alive_as_before_is_no_finding() -> None:
    assert findings(10, Count(30, 8, 2, 0), Count(90, 8, 0, 2)) == []


def test_a_skeleton_that_vanishes_stays_dead() -> None:
    found = counted_history(10, [Count(30, 8, 2, 0), Count(90, 8, 0, 2), Count(180, 7, 1, 2)])
    assert told(found.open) == {(0, 30, 2), (90, None, 1), (180, None, 7)}


def test_missing_corals_found_dead_later_died_after_the_count_before_they_went_missing() -> None:
    found = counted_history(10, [Count(30, 10, 0, 0), Count(90, 8, 0, 2), Count(180, 8, 2, 0)])
    assert told(found.open) == {(30, 180, 2), (180, None, 8)}


def test_of_missing_corals_the_latest_to_go_are_those_found_dead() -> None:
    found = counted_history(10, [Count(30, 8, 0, 2), Count(90, 5, 0, 5), Count(180, 5, 4, 1)])
    assert told(found.open) == {(30, 180, 3), (0, 180, 1), (0, None, 1), (180, None, 5)}


def test_more_skeletons_than_lost_corals_kill_none_of_the_living() -> None:
    found = counted_history(10, [Count(30, 5, 5, 0), Count(90, 8, 2, 0), Count(180, 6, 2, 2)])
    assert told(found.open) == {(0, 30, 2), (90, None, 2), (180, None, 6)}


def test_more_alive_than_planted_count_as_all_planted_and_are_a_finding() -> None:
    assert told(counted_history(10, [Count(30, 12, 0, 0), Count(90, 9, 1, 0)]).lost) == {(30, 90, 1), (90, None, 9)}
    assert findings(10, Count(30, 12, 0, 0), Count(90, 9, 1, 0)) == [("more_alive_than_planted", (30,))]


def test_more_alive_dead_and_missing_than_planted_is_a_finding() -> None:
    assert findings(10, Count(30, 8, 2, 1)) == [("more_than_planted", (30,))]


def test_dead_on_the_planting_day_died_at_age_0_exactly_and_are_a_finding() -> None:
    found = counted_history(10, [Count(0, 8, 2, 0), Count(30, 7, 3, 0)])
    assert told(found.lost) == told(found.open) == {(0, 0, 2), (0, 30, 1), (30, None, 7)}
    assert [finding.kind for finding in found.findings] == ["dead_on_planting_day"]


def test_missing_on_the_planting_day_are_not_lost_that_day_and_are_a_finding() -> None:
    found = counted_history(10, [Count(0, 8, 0, 2), Count(30, 9, 1, 0)])
    assert told(found.lost) == {(0, 30, 1), (30, None, 9)}
    assert found.findings == (CountFinding((0,), "missing_on_planting_day"),)


def test_a_count_before_the_planting_counts_nowhere_and_is_a_finding() -> None:
    assert counted_history(10, [Count(-1, 3, 3, 4)]).lost == (Weighted(0, None, 10),)
    assert findings(10, Count(-1, 3, 3, 4)) == [("before_planting", (-1,))]


def test_of_two_counts_of_a_day_alive_holds_over_dead_and_dead_over_missing() -> None:
    found = counted_history(10, [Count(30, 8, 0, 2), Count(30, 7, 3, 0)])
    assert told(found.open) == {(0, 30, 2), (30, None, 8)}


def test_two_counts_of_the_planting_day_stand_together_as_on_any_day() -> None:
    assert told(counted_history(10, [Count(0, 8, 2, 0), Count(0, 7, 3, 0)]).lost) == {(0, 0, 2), (0, None, 8)}


def test_nothing_planted_has_no_rows() -> None:
    assert counted_history(0, [Count(30, 0, 0, 0)]) == CountedHistory((), (), ())


# Laws.

numbers = st.integers(0, 12)
any_counts = st.lists(st.builds(Count, st.integers(-2, 6).map(lambda age: age * 30), numbers, numbers, numbers), max_size=6)


@given(st.integers(0, 10), any_counts)
def test_weights_always_add_up_to_the_number_planted(planted: int, counts: list[Count]) -> None:
    found = counted_history(planted, counts)
    assert [sum(one.weight for one in rows) for rows in (found.lost, found.open)] == [planted, planted]


@given(st.integers(0, 10), any_counts)
def test_every_row_has_weight_and_ends_no_earlier_than_it_begins(planted: int, counts: list[Count]) -> None:
    found = counted_history(planted, counts)
    assert all(
        one.weight > 0 and one.left >= 0 and (one.right is None or one.left <= one.right) for one in (*found.lost, *found.open)
    )


@given(st.integers(0, 10), any_counts)
def test_leaving_missing_open_never_finds_more_dead_by_any_age(planted: int, counts: list[Count]) -> None:
    found = counted_history(planted, counts)

    def gone_by(rows: tuple[Weighted, ...], age: int) -> int:
        return sum(one.weight for one in rows if one.right is not None and one.right <= age)

    assert all(gone_by(found.open, count.age) <= gone_by(found.lost, count.age) for count in counts)


@given(st.integers(0, 10), any_counts.flatmap(lambda counts: st.tuples(st.just(counts), st.permutations(counts))))
def test_the_order_of_counts_does_not_matter(planted: int, orders: tuple[list[Count], list[Count]]) -> None:
    assert counted_history(planted, orders[0]) == counted_history(planted, orders[1])


@given(st.integers(0, 10), any_counts)
def test_a_count_twice_is_a_count_once(planted: int, counts: list[Count]) -> None:
    assert counted_history(planted, counts + counts) == counted_history(planted, counts)


# Tagged corals, visited at common ages and counted as a counted plot would be.


@st.composite
def plots(draw: st.DrawFn, *, skeletons_last: bool) -> tuple[list[int], list[list[str]]]:
    """Ages of visits, and a row of states a coral: alive, then dead or missing to the end; a skeleton may vanish."""
    ages = sorted(draw(st.sets(st.integers(1, 400), max_size=6)))

    def coral() -> list[str]:
        alive = draw(st.integers(0, len(ages)))
        rest = len(ages) - alive
        if draw(st.booleans()):
            return ["alive"] * alive + ["missing"] * rest
        found = rest if skeletons_last else draw(st.integers(min(1, rest), rest))
        return ["alive"] * alive + ["dead"] * found + ["missing"] * (rest - found)

    return ages, [coral() for _ in range(draw(st.integers(1, 12)))]


def counted(ages: list[int], corals: list[list[str]]) -> CountedHistory:
    by_visit = [Counter(states) for states in zip(*corals, strict=True)]
    counts = [Count(age, n["alive"], n["dead"], n["missing"]) for age, n in zip(ages, by_visit, strict=True)]
    return counted_history(len(corals), counts)


def tagged(ages: list[int], corals: list[list[str]], which: str) -> Told:
    found: Counter[Interval] = Counter()
    for states in corals:
        seen: list[Any] = [Sighting(PLANTED + timedelta(age), state) for age, state in zip(ages, states, strict=True)]  # type: ignore[arg-type]
        found[getattr(history(PLANTED, seen), which)] += 1
    return {(interval.left, interval.right, weight) for interval, weight in found.items()}


@given(plots(skeletons_last=False))
def test_counted_as_lost_a_counted_plot_gives_what_its_corals_would_with_tags(plot: tuple[list[int], list[list[str]]]) -> None:
    assert told(counted(*plot).lost) == tagged(*plot, "lost")


@given(plots(skeletons_last=True))
def test_left_open_a_counted_plot_gives_what_its_corals_would_with_tags(plot: tuple[list[int], list[list[str]]]) -> None:
    assert told(counted(*plot).open) == tagged(*plot, "open")


@given(plots(skeletons_last=False))
def test_counts_of_a_true_record_raise_no_question(plot: tuple[list[int], list[list[str]]]) -> None:
    assert counted(*plot).findings == ()


@pytest.mark.parametrize("which", ["lost", "open"])
def test_a_plot_whose_missing_corals_are_all_found_dead_agrees_with_tags_where_left_open(which: str) -> None:
    """Counted as lost it cannot: tags say that the coral missing at 90 is the one found at 180, a count does not."""
    ages, corals = [30, 90, 180], [["alive", "missing", "dead"], ["alive", "alive", "alive"]]
    agrees = told(getattr(counted(ages, corals), which)) == tagged(ages, corals, which)
    assert agrees == (which == "open")
