"""Laws of the log-rank test, of differences and of Holm's adjustment."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldkit.survival import difference, holm, kaplan_meier, logrank

LAW = settings(max_examples=40)

corals = st.lists(
    st.tuples(
        st.integers(1, 20),  # days under observation
        st.booleans(),
        st.sampled_from(["a", "b", "c"]),
        st.integers(1, 3),  # corals
        st.sampled_from([1, 2]),
        st.sampled_from([0, 0, 4]),  # first day of observation
    ),
    min_size=1,
    max_size=50,
)


def columns(rows: list[Any]) -> dict[str, Any]:
    stay, event, group, weight, strata, entry = map(list, zip(*rows, strict=True))
    return {
        "time": np.add(stay, entry),
        "event": np.array(event),
        "group": group,
        "weight": weight,
        "strata": strata,
        "entry": entry,
    }


@LAW
@given(corals)
def test_expected_deaths_are_as_many_as_observed(rows: list[Any]) -> None:
    test = logrank(**columns(rows))
    assert test.expected.sum() == pytest.approx(test.observed.sum(), abs=1e-9)


@LAW
@given(corals, st.randoms(use_true_random=False))
def test_order_of_rows_plays_no_part(rows: list[Any], dice: Any) -> None:
    one, other = logrank(**columns(rows)), logrank(**columns(dice.sample(rows, len(rows))))
    np.testing.assert_allclose(one.covariance, other.covariance, rtol=0, atol=1e-12)
    assert one.df == other.df


@LAW
@given(corals)
def test_a_weight_is_as_many_rows(rows: list[Any]) -> None:
    repeated = [(*row[:3], 1, *row[4:]) for row in rows for _ in range(row[3])]
    weighted, single = logrank(**columns(rows)), logrank(**columns(repeated) | {"weight": None})
    np.testing.assert_allclose(weighted.covariance, single.covariance, rtol=0, atol=1e-12)
    np.testing.assert_allclose(weighted.expected, single.expected, rtol=0, atol=1e-12)


@LAW
@given(corals)
def test_strata_add_up_before_the_test(rows: list[Any]) -> None:
    whole = logrank(**columns(rows))
    parts = [logrank(**columns([row for row in rows if row[4] == stratum])) for stratum in {row[4] for row in rows}]
    for quantity in ("observed", "expected"):
        sums = dict.fromkeys(whole.groups, 0.0)
        for part in parts:
            for label, value in zip(part.groups, getattr(part, quantity), strict=True):
                sums[label] += value
        np.testing.assert_allclose(getattr(whole, quantity), [sums[label] for label in whole.groups], rtol=0, atol=1e-9)


@LAW
@given(corals)
def test_times_that_are_no_whole_days_give_the_same_test(rows: list[Any]) -> None:
    data = columns(rows)
    thirds = data | {"time": data["time"] / 3, "entry": np.array(data["entry"]) / 3}
    np.testing.assert_allclose(logrank(**data).covariance, logrank(**thirds).covariance, rtol=0, atol=1e-12)


def test_many_ages_far_apart_give_the_same_test_as_few_close_together() -> None:
    rng = np.random.default_rng(5)
    time, dead, group = np.arange(1, 41), rng.random(40) < 0.7, rng.integers(0, 3, 40)
    close, far = logrank(time, dead, group), logrank(time * 20_000, dead, group)
    np.testing.assert_allclose(close.covariance, far.covariance, rtol=0, atol=1e-12)


def test_groups_that_die_alike_have_a_statistic_of_nought() -> None:
    test = logrank([5, 9, 12, 5, 9, 12], [1, 1, 0, 1, 1, 0], [1, 1, 1, 2, 2, 2])
    assert (test.statistic, test.df, test.p_value) == (0, 1, 1)


def test_a_group_that_nothing_is_compared_with_takes_no_part() -> None:
    alone = logrank([5, 9, 6, 8], [1, 1, 1, 0], ["a", "a", "b", "b"])
    beside = logrank([5, 9, 6, 8, 7], [1, 1, 1, 0, 1], ["a", "a", "b", "b", "c"], strata=[1, 1, 1, 1, 2])
    assert (beside.statistic, beside.df) == (pytest.approx(alone.statistic, abs=1e-12), 1)


def test_strata_that_share_no_group_add_their_degrees_of_freedom() -> None:
    time, event = [5, 9, 6, 8], [1, 1, 1, 0]
    one = logrank(time, event, ["a", "a", "b", "b"]).statistic
    two = logrank(time * 2, event * 2, ["a", "a", "b", "b", "c", "c", "d", "d"], strata=[1] * 4 + [2] * 4)
    assert (two.statistic, two.df) == (pytest.approx(2 * one, abs=1e-12), 2)


def test_one_group_is_compared_with_nothing() -> None:
    test = logrank([5, 9], [1, 1], ["a", "a"])
    assert test.df == 0
    assert np.isnan([test.statistic, test.p_value]).all()


def test_no_deaths_leave_nothing_to_compare() -> None:
    test = logrank([5, 9], [0, 0], ["a", "b"])
    assert np.isnan(test.p_value)
    assert test.observed.tolist() == [0, 0]


def test_a_death_of_weight_nought_is_none() -> None:
    with_it = logrank([5, 9, 7], [1, 1, 1], ["a", "b", "a"], weight=[1, 1, 0])
    without = logrank([5, 9], [1, 1], ["a", "b"])
    np.testing.assert_array_equal(with_it.covariance, without.covariance)


def test_p_values_of_groups_that_die_alike_are_even() -> None:
    rng = np.random.default_rng(11)
    p_values = [logrank(rng.exponential(100, 200), np.ones(200), rng.integers(0, 4, 200)).p_value for _ in range(400)]
    assert np.mean(np.array(p_values) < 0.05) == pytest.approx(0.05, abs=0.033)  # three standard errors


def test_a_difference_has_the_errors_of_both_curves() -> None:
    curves = kaplan_meier([10, 20, 30, 30] * 2, [1, 0, 0, 0, 1, 1, 0, 0], group=[1] * 4 + [2] * 4)
    apart = difference(curves[1], curves[2], 25)
    errors = [curves[label].figures([25]).std_error[0] for label in (1, 2)]
    assert apart.value == pytest.approx(0.25)
    assert apart.std_error == pytest.approx(np.hypot(*errors))
    assert apart.lower == pytest.approx(0.25 - 1.959963984540054 * apart.std_error)


def test_turning_a_difference_round_turns_its_limits() -> None:
    curves = kaplan_meier([10, 20, 30, 30] * 2, [1, 0, 0, 0, 1, 1, 0, 0], group=[1] * 4 + [2] * 4)
    here, there = difference(curves[1], curves[2], 25), difference(curves[2], curves[1], 25)
    assert (here.lower, here.upper) == (-there.upper, -there.lower)


def test_holm_multiplies_the_least_by_all_and_the_largest_by_one() -> None:
    assert holm([0.01, 0.04, 0.03]).tolist() == pytest.approx([0.03, 0.06, 0.06])


def test_holm_leaves_out_what_could_not_be_tested() -> None:
    adjusted = holm([0.02, np.nan, 0.5])
    assert adjusted[[0, 2]].tolist() == [0.04, 0.5]
    assert np.isnan(adjusted[1])
