"""Laws of the NPMLE, and a slow program that shares nothing with it."""

from __future__ import annotations

from importlib import import_module
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldkit.survival import SurvivalError, kaplan_meier, turnbull

INF = np.inf
LAW = settings(max_examples=40)


def interval(ends: tuple[int, int | None, bool]) -> tuple[float, float]:
    left, length, exact = ends
    return (left, left) if exact else (left, INF if length is None else left + length)


intervals = st.tuples(st.integers(0, 12), st.one_of(st.integers(1, 8), st.none()), st.booleans()).map(interval)
rows = st.lists(st.tuples(intervals, st.integers(1, 4), st.sampled_from(["a", "b", "c"])), min_size=1, max_size=40)


def columns(found: list[Any]) -> dict[str, Any]:
    ends, weight, group = map(list, zip(*found, strict=True))
    left, right = map(np.array, zip(*ends, strict=True))
    return {"left": left, "right": right, "weight": np.array(weight, dtype=float), "group": group}


def alone(found: list[Any]) -> dict[str, Any]:
    return columns(found) | {"group": None}


def interior_point(left: Any, right: Any, weight: Any) -> tuple[Any, Any, float]:
    """Ages, survival at them and log-likelihood, by dense Newton steps on a barrier, over cells of the time line.

    Cells are the ages met and the stretches between; a row covers some of them; sets of rows that lie within another cell's
    set can hold no mass. maximise sum w log(A p) - W sum p + mu sum log p, mu towards 0; then sum p is 1 of itself.
    """
    ages = np.unique(np.concatenate((left, right[np.isfinite(right)])))
    cells = np.arange(2 * ages.size + 1)  # stretch before age k: 2k, the age itself: 2k + 1
    from_cell = 2 * np.searchsorted(ages, left) + np.where(left == right, 1, 2)
    to_cell = np.where(np.isfinite(right), 2 * np.searchsorted(ages, right) + 1, cells[-1])
    covers = (from_cell[:, None] <= cells) & (cells <= to_cell[:, None])
    last_of_set = {tuple(covers[:, cell]): cell for cell in cells}
    sets = [frozenset(np.flatnonzero(cover)) for cover in last_of_set]
    kept = [at for at, one in enumerate(sets) if one and not any(one < other for other in sets)]
    place = np.array(list(last_of_set.values()))[kept]
    cover = np.array(list(last_of_set))[kept].T.astype(float)
    total = weight.sum()
    mass = np.full(place.size, 1 / place.size)
    for barrier in total * 10.0 ** -np.arange(2, 15):
        for _ in range(50):
            likelihood = cover @ mass
            slope = cover.T @ (weight / likelihood) - total + barrier / mass
            bend = (cover.T * (weight / likelihood**2)) @ cover + np.diag(barrier / mass**2)
            step = np.linalg.solve(bend, slope)
            mass = mass + min(1.0, 0.9 / max(np.max(-step / mass), 1e-9)) * step
            if step @ slope < 1e-16 * total:
                break
    after = np.array([mass[place > 2 * at + 1].sum() for at in range(ages.size)])
    return ages, after, float(weight @ np.log(cover @ mass))


def begin(left: Any, right: Any) -> Any:
    """Where an interval of whole days begins: at its left end if that is its one day, else after it."""
    return left + 0.5 * (left < right)


def likelihoods(curve: Any, left: Any, right: Any) -> Any:
    """What the curve gives each row, by the definition."""
    inside = (begin(curve.left, curve.right) >= begin(left, right)[:, None]) & (curve.right <= right[:, None])
    return inside @ curve.mass


@LAW
@given(rows)
def test_survival_is_that_of_a_dense_interior_point_program(found: list[Any]) -> None:
    data = alone(found)
    ages, survival, _ = interior_point(data["left"], data["right"], data["weight"])
    np.testing.assert_allclose(turnbull(**data).at(ages), survival, rtol=0, atol=2e-5)


@LAW
@given(rows)
def test_the_log_likelihood_can_gain_no_more_than_the_gap_says(found: list[Any]) -> None:
    data = alone(found)
    curve = turnbull(**data)
    ours = data["weight"] @ np.log(likelihoods(curve, data["left"], data["right"]))
    _, _, best = interior_point(data["left"], data["right"], data["weight"])
    assert best - ours <= data["weight"].sum() * (max(curve.gap, 0) + 1e-9)


@LAW
@given(rows)
def test_the_gap_is_what_the_masses_themselves_prove(found: list[Any]) -> None:
    data = alone(found)
    curve = turnbull(**data)
    claims = data["weight"] / likelihoods(curve, data["left"], data["right"])
    age = np.unique(np.concatenate((data["left"], data["left"] + 0.5, [30.0])))  # every stretch of whole days, and beyond
    covers = (begin(data["left"], data["right"])[:, None] <= age) & (age <= data["right"][:, None])
    assert (claims @ covers).max() / data["weight"].sum() - 1 <= 1e-7


@LAW
@given(rows)
def test_masses_are_positive_and_sum_to_one(found: list[Any]) -> None:
    for curve in turnbull(**columns(found)).values():
        assert np.all(curve.mass > 0)
        assert curve.mass.sum() == pytest.approx(1, abs=1e-12)


@LAW
@given(rows)
def test_intervals_with_mass_are_in_order_and_do_not_overlap(found: list[Any]) -> None:
    curve = turnbull(**alone(found))
    assert np.all(curve.left <= curve.right)
    assert np.all(curve.right[:-1] <= curve.left[1:])


@LAW
@given(rows, st.randoms(use_true_random=False))
def test_order_of_rows_plays_no_part(found: list[Any], dice: Any) -> None:
    one, other = turnbull(**columns(found)), turnbull(**columns(dice.sample(found, len(found))))
    for label in one:
        np.testing.assert_array_equal(one[label].left, other[label].left)
        np.testing.assert_allclose(one[label].mass, other[label].mass, rtol=0, atol=1e-12)


@LAW
@given(rows)
def test_a_weight_is_as_many_rows(found: list[Any]) -> None:
    repeated = [(ends, 1, group) for ends, weight, group in found for _ in range(weight)]
    weighted, single = turnbull(**alone(found)), turnbull(**alone(repeated) | {"weight": None})
    np.testing.assert_array_equal(weighted.right, single.right)
    np.testing.assert_allclose(weighted.mass, single.mass, rtol=0, atol=1e-12)


@LAW
@given(rows)
def test_a_group_among_others_has_the_curve_it_has_alone(found: list[Any]) -> None:
    for label, curve in turnbull(**columns(found)).items():
        single = turnbull(**alone([row for row in found if row[2] == label]))
        np.testing.assert_array_equal(curve.left, single.left)
        np.testing.assert_allclose(curve.mass, single.mass, rtol=0, atol=1e-7)


@LAW
@given(rows, st.integers(1, 400))
def test_a_later_origin_moves_the_ages_alone(found: list[Any], days: int) -> None:
    data = alone(found)
    here, there = turnbull(**data), turnbull(**(data | {"left": data["left"] + days, "right": data["right"] + days}))
    np.testing.assert_array_equal(here.left + days, there.left)
    np.testing.assert_array_equal(here.mass, there.mass)


@LAW
@given(rows)
def test_weeks_give_the_curve_of_days(found: list[Any]) -> None:
    data = alone(found)
    days, weeks = turnbull(**data), turnbull(**(data | {"left": data["left"] / 7, "right": data["right"] / 7}))
    np.testing.assert_allclose(days.right, weeks.right * 7, rtol=1e-12)
    np.testing.assert_array_equal(days.mass, weeks.mass)


@LAW
@given(st.lists(st.tuples(st.integers(1, 30), st.booleans()), min_size=1, max_size=60))
def test_where_every_death_has_its_day_it_is_kaplan_meier(found: list[Any]) -> None:
    time, dead = map(np.array, zip(*found, strict=True))
    ages = np.arange(0, 31)
    ours = turnbull(time.astype(float), np.where(dead, time, INF)).at(ages)
    np.testing.assert_allclose(ours, kaplan_meier(time, dead).at(ages), rtol=0, atol=1e-7)


@LAW
@given(st.lists(st.tuples(st.integers(0, 4), st.booleans()), min_size=1, max_size=60))
def test_where_all_are_visited_on_the_same_days_it_is_kaplan_meier_at_these(found: list[Any]) -> None:
    visits = np.array([0, 30, 90, 180, 365, INF])
    last, dies = map(np.array, zip(*found, strict=True))
    dies &= last < 4
    left, right = visits[last], np.where(dies, visits[last + 1], INF)
    dated = kaplan_meier(np.where(dies, right, left), dies)
    np.testing.assert_allclose(turnbull(left, right).at(visits[:5]), dated.at(visits[:5]), rtol=0, atol=1e-7)


def test_inside_an_innermost_interval_the_value_is_that_of_its_left_end() -> None:
    curve = turnbull([30, 90], [90, INF])
    assert curve.at([29, 30, 89.9, 90, 400]).tolist() == [1, 1, 1, 0.5, 0.5]


def test_intervals_that_only_touch_share_no_day() -> None:
    curve = turnbull([5, 8], [8, 9])
    assert np.column_stack((curve.left, curve.right)).tolist() == [[5, 8], [8, 9]]


def test_a_day_known_lies_in_the_interval_that_ends_on_it() -> None:
    curve = turnbull([5, 8], [8, 8])
    assert np.column_stack((curve.left, curve.right, curve.mass)).tolist() == [[8, 8, 1]]


def test_a_day_known_lies_not_in_the_interval_that_begins_after_it() -> None:
    curve = turnbull([8, 8], [8, 12])
    assert np.column_stack((curve.left, curve.right)).tolist() == [[8, 8], [8, 12]]


def test_the_median_is_the_interval_in_which_half_are_passed() -> None:
    median = turnbull([30, 30, 90], [90, 90, INF]).median()
    assert (median.low, median.value, median.high) == (30, 60, 90)


def test_a_curve_flat_at_one_half_has_the_flat_stretch_for_its_median() -> None:
    median = turnbull([0, 90], [30, 180]).median()
    assert (median.low, median.value, median.high) == (30, 60, 90)


def test_a_median_past_the_last_visit_has_no_upper_end() -> None:
    median = turnbull([30, 90, 90], [90, INF, INF]).median()
    assert (median.low, median.high) == (90, INF)
    assert np.isnan(median.value)


def test_the_restricted_mean_is_bounded_by_the_ends_of_the_intervals() -> None:
    mean = turnbull([30, 90], [90, INF]).restricted_mean(100)
    assert (mean.low, mean.value, mean.high) == (60, 80, 95)  # (30 + 90) / 2, (60 + 100) / 2, (90 + 100) / 2


def test_an_interval_cut_by_the_end_of_the_mean_counts_its_share() -> None:
    mean = turnbull([0], [100]).restricted_mean(50)
    assert mean.value == 37.5  # half die evenly before day 50, after 25 days; the others live all 50


def test_at_risk_counts_the_corals_whose_interval_reaches_past_an_age() -> None:
    curve = turnbull([30, 30, 90], [90, INF, 90], weight=[2, 3, 4])
    assert curve.at_risk_at([0, 89, 90, 1000]).tolist() == [9, 9, 3, 3]


def test_one_coral_never_found_dead_stays_at_one() -> None:
    curve = turnbull([365], [INF])
    assert curve.time.size == 0
    assert curve.at([0, 365, 2000]).tolist() == [1, 1, 1]


def test_all_dead_in_one_interval_is_one_step_to_nought() -> None:
    curve = turnbull([30] * 5, [90] * 5)
    assert (curve.at([30, 90]).tolist(), curve.mass.tolist()) == ([1, 0], [1])


def test_times_that_differ_by_rounding_are_one_end() -> None:
    curve = turnbull([0.1, 0.1 + 0.2], [0.3, INF])
    assert (curve.left.tolist(), curve.right.tolist(), curve.mass.tolist()) == ([0.1, 0.3], [0.3, INF], [0.5, 0.5])


def test_no_corals_at_all_give_no_figure() -> None:
    curve = turnbull([], [])
    assert np.isnan([curve.at(30), curve.median().value, curve.restricted_mean(365).value, curve.gap]).all()


def test_a_group_of_weight_nought_is_listed_and_empty() -> None:
    curves = turnbull([0, 0], [30, 30], weight=[0, 1], group=["gone", "there"])
    assert np.isnan(curves["gone"].at(30))
    assert curves["there"].at(30) == 0


def test_many_unlike_groups_are_all_searched_to_the_same_gap() -> None:
    rng = np.random.default_rng(7)
    group = rng.integers(0, 200, 5000)
    left = np.round(rng.exponential(100 + group))
    right = np.where(rng.random(5000) < 0.4, INF, left + np.round(rng.exponential(60)))
    assert max(curve.gap for curve in turnbull(left, right, group=group).values()) <= 1e-8


def test_weights_of_very_different_size_do_not_stop_the_search() -> None:
    rng = np.random.default_rng(3)
    left = np.round(rng.exponential(100, 500))
    right = np.where(rng.random(500) < 0.3, INF, left + 1 + np.round(rng.exponential(60, 500)))
    assert turnbull(left, right, weight=10.0 ** rng.uniform(-4, 4, 500)).gap <= 1e-8


def test_a_search_without_end_is_an_error_not_a_figure(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fieldkit.survival.masses._ROUNDS", 1)
    with pytest.raises(SurvivalError, match="did not end"):
        turnbull([0, 20, 0, 30], [10, 30, 25, INF])


@pytest.mark.parametrize("groups", [1, 3, 40])
def test_many_rows_are_searched_in_parts_and_give_the_same_curves(groups: int, monkeypatch: pytest.MonkeyPatch) -> None:
    dice = np.random.default_rng(11)
    left = np.floor(dice.exponential(300, 4_000))
    right = np.where(dice.random(4_000) < 0.4, np.inf, left + np.floor(dice.uniform(1, 200, 4_000)))
    group = dice.integers(0, groups, 4_000)
    whole = turnbull(left, right, group=group)
    monkeypatch.setattr(import_module("fieldkit.survival.masses"), "_MANY", 0)
    parts = turnbull(left, right, group=group)
    assert list(parts) == list(whole) and len(parts) == groups
    for label in whole:
        assert parts[label].gap <= 1e-9
        assert parts[label].at(np.arange(1500)) == pytest.approx(whole[label].at(np.arange(1500)), abs=1e-6)
