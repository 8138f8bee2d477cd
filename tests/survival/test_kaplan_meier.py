"""Laws of the Kaplan-Meier curve, and what it says where there is little or nothing to say."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldkit.survival import Curve, kaplan_meier

LAW = settings(max_examples=40)
COLUMNS = ("time", "at_risk", "deaths", "censored", "survival", "std_error", "lower", "upper")

corals = st.lists(
    st.tuples(
        st.integers(1, 30),  # days under observation
        st.booleans(),
        st.sampled_from([0, 0, 5, 10]),  # first day of observation
        st.integers(1, 4),  # corals
        st.sampled_from(["reef flat", "slope", "lagoon"]),
    ),
    min_size=1,
    max_size=60,
)


def columns(rows: list[Any]) -> dict[str, Any]:
    stay, event, entry, weight, group = map(list, zip(*rows, strict=True))
    return {"time": np.add(stay, entry), "event": event, "entry": entry, "weight": weight, "group": group}


def assert_same(one: Curve, other: Curve, rtol: float = 0) -> None:
    for name in COLUMNS:
        np.testing.assert_allclose(getattr(one, name), getattr(other, name), rtol=rtol, err_msg=name)


@LAW
@given(corals, st.randoms(use_true_random=False))
def test_order_of_rows_plays_no_part(rows: list[Any], dice: Any) -> None:
    mixed = dice.sample(rows, len(rows))
    one, other = kaplan_meier(**columns(rows)), kaplan_meier(**columns(mixed))
    assert list(one) == list(other)
    for label in one:
        assert_same(one[label], other[label])


@LAW
@given(corals)
def test_a_weight_is_as_many_rows(rows: list[Any]) -> None:
    repeated = [(*row[:3], 1, row[4]) for row in rows for _ in range(row[3])]
    data = columns(rows) | {"group": None}
    single = columns(repeated) | {"group": None, "weight": None}
    assert_same(kaplan_meier(**data), kaplan_meier(**single), rtol=1e-12)


@LAW
@given(corals)
def test_a_group_among_others_has_the_curve_it_has_alone(rows: list[Any]) -> None:
    together = kaplan_meier(**columns(rows))
    for label, curve in together.items():
        alone = columns([row for row in rows if row[4] == label]) | {"group": None}
        assert_same(curve, kaplan_meier(**alone))


@LAW
@given(corals, st.integers(1, 1000))
def test_a_later_origin_moves_the_ages_alone(rows: list[Any], days: int) -> None:
    data = columns(rows) | {"entry": None, "group": None}
    here, there = kaplan_meier(**data), kaplan_meier(**(data | {"time": data["time"] + days}))
    np.testing.assert_array_equal(here.time + days, there.time)
    np.testing.assert_array_equal(here.survival, there.survival)


@LAW
@given(corals)
def test_the_curve_falls_from_one_and_never_below_nought(rows: list[Any]) -> None:
    for curve in kaplan_meier(**columns(rows)).values():
        steps = np.concatenate(([1.0], curve.survival))
        assert np.all(np.diff(steps) <= 0)
        assert steps[-1] >= 0


@LAW
@given(corals)
def test_the_limits_stand_around_the_curve(rows: list[Any]) -> None:
    curve = kaplan_meier(**columns(rows) | {"group": None})
    known = np.isfinite(curve.lower)
    assert np.all(curve.lower[known] <= curve.survival[known])
    assert np.all(curve.survival[known] <= curve.upper[known])


@LAW
@given(corals)
def test_without_leavers_survival_is_the_share_still_alive(rows: list[Any]) -> None:
    time = columns(rows)["time"]
    curve = kaplan_meier(time, np.ones(time.size))
    np.testing.assert_allclose(curve.at(curve.time), [(time > age).mean() for age in curve.time], rtol=0, atol=1e-12)


def test_fractions_of_times_and_whole_days_give_one_curve() -> None:
    time, event = np.array([3, 7, 7, 12, 20]), [1, 1, 0, 1, 0]
    np.testing.assert_array_equal(kaplan_meier(time / 7, event).survival, kaplan_meier(time, event).survival)


def test_fractional_weights_leave_exactly_nothing_when_all_have_died() -> None:
    weight = np.full(10, 0.1)
    curve = kaplan_meier(np.arange(1, 11), np.ones(10), weight=weight, group=np.zeros(10))[0.0]
    assert curve.survival[-1] == 0


def test_fractional_weights_and_late_entry_leave_exactly_nothing_between() -> None:
    curve = kaplan_meier([2, 3, 6, 8], [1, 1, 1, 0], entry=[0, 0, 4, 4], weight=[0.1, 0.2, 0.3, 0.7])
    assert curve.survival.tolist()[1:] == [0, 0, 0]


def test_one_coral_seen_alive_is_a_flat_curve() -> None:
    curve = kaplan_meier([90], [0])
    assert curve.at([0, 90, 400]).tolist() == [1, 1, 1]
    assert curve.std_error.tolist() == [0]


def test_one_coral_found_dead_is_one_step_to_nought() -> None:
    curve = kaplan_meier([90], [1])
    assert curve.at([89, 90]).tolist() == [1, 0]
    assert np.isnan(curve.std_error[0])


def test_all_dead_at_once_is_one_step_to_nought() -> None:
    curve = kaplan_meier([30] * 12, [1] * 12)
    assert (curve.time.tolist(), curve.survival.tolist(), curve.median().value) == ([30], [0], 30)


def test_a_group_without_deaths_stays_at_one_beside_one_that_dies() -> None:
    curves = kaplan_meier([30, 60, 30, 60], [0, 0, 1, 1], group=["safe", "safe", "lost", "lost"])
    assert curves["safe"].at(60) == 1
    assert curves["lost"].at(60) == 0


def test_no_corals_at_all_give_no_figure() -> None:
    curve = kaplan_meier([], [])
    assert curve.time.size == 0
    assert np.isnan([curve.at(30), curve.median().value, curve.restricted_mean(365).value]).all()


def test_a_group_of_weight_nought_is_listed_and_empty() -> None:
    curves = kaplan_meier([30, 60], [1, 1], weight=[0, 1], group=["gone", "there"])
    assert np.isnan(curves["gone"].at(30))
    assert curves["there"].at_risk.tolist() == [1]


def test_past_the_last_observation_the_curve_is_flat_with_nobody_at_risk() -> None:
    figures = kaplan_meier([30, 60], [1, 0]).figures([0, 30, 45, 60, 61])
    assert figures.survival.tolist() == [1, 0.5, 0.5, 0.5, 0.5]
    assert figures.at_risk.tolist() == [2, 2, 1, 1, 0]


def test_a_death_on_the_day_of_planting_counts_also_beside_late_entries() -> None:
    curve = kaplan_meier([0, 10, 20], [1, 0, 1], entry=[0, 0, 10])
    assert curve.at_risk.tolist() == [2, 1, 1]
    assert curve.survival.tolist() == [0.5, 0.5, 0]


def test_a_flat_half_gives_the_midpoint_and_both_ends() -> None:
    median = kaplan_meier([1, 2, 3, 4], [1, 1, 1, 1]).median()
    assert (median.low, median.value, median.high) == (2, 2.5, 3)


def test_a_median_not_reached_lies_beyond_the_last_age() -> None:
    median = kaplan_meier([10, 20, 30], [1, 0, 0]).median()
    assert (median.low, median.high) == (30, np.inf)
    assert np.isnan(median.value)


def test_a_half_met_with_rounding_is_a_half() -> None:
    time = np.arange(1, 101)  # 0.99 x 0.98/0.99 x … rounds to just above or below one half
    assert kaplan_meier(time, np.ones(100)).median().value == 50.5


@pytest.mark.parametrize("interval", ["plain", "log", "log-log"])
def test_a_higher_level_gives_wider_limits(interval: Any) -> None:
    time, event = [5, 8, 12, 20, 20], [1, 0, 1, 1, 0]
    narrow, wide = (kaplan_meier(time, event, level=level, interval=interval).figures([12]) for level in (0.8, 0.99))
    assert wide.lower[0] < narrow.lower[0] < narrow.upper[0] < wide.upper[0]


def test_without_an_interval_there_are_no_limits() -> None:
    curve = kaplan_meier([5, 8], [1, 0], interval="none")
    assert np.isnan(curve.lower).all()
    assert np.isnan(curve.restricted_mean(8).lower)


def test_the_restricted_mean_of_corals_all_followed_to_death_is_their_mean() -> None:
    mean = kaplan_meier([10, 20, 60], [1, 1, 1]).restricted_mean(100)
    assert mean.value == pytest.approx(30, abs=1e-12)


@pytest.mark.parametrize("weight", [None, np.arange(1, 3001) % 7 + 0.5])
def test_many_corals_on_few_days_have_the_curve_of_days_far_apart(weight: Any) -> None:
    rng = np.random.default_rng(8)
    day, dead, group = rng.integers(0, 40, 3000), rng.random(3000) < 0.3, rng.integers(0, 3, 3000)
    near = kaplan_meier(day, dead, weight=weight, group=group)  # counted by a table of all days
    far = kaplan_meier(day * 20_000, dead, weight=weight, group=group)  # by sorting
    for label in near:
        np.testing.assert_allclose(near[label].survival, far[label].survival, rtol=1e-12)
        np.testing.assert_allclose(near[label].at_risk, far[label].at_risk, rtol=1e-12)
