"""Limits over plots: what they depend on and what not, and what they say where plots are few."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from fieldkit.survival import Contrast, Resampled, bootstrap_difference, bootstrap_survival, turnbull

INF = np.inf
AGES = [30, 90, 180, 365]


def reef(seed: int, plots: int = 12, corals: int = 10, mean_life: float = 400) -> dict[str, Any]:
    """Plots that share a fate, each visited a few days before or after the round."""
    rng = np.random.default_rng(seed)
    plot = np.repeat(np.arange(plots), corals)
    visits = np.round(np.array(AGES) + rng.normal(0, 5, (plots, len(AGES))))
    visits = np.column_stack((np.zeros(plots), visits, np.full(plots, INF)))[plot]
    dies = rng.exponential(mean_life * rng.gamma(2, 0.5, plots)[plot])
    alive = (dies[:, None] > visits).sum(axis=1) - 1
    rows = np.arange(plot.size)
    return {"left": visits[rows, alive], "right": visits[rows, alive + 1], "cluster": plot}


def limits(data: dict[str, Any], ages: Any = AGES, **more: Any) -> Any:
    return bootstrap_survival(**data, ages=ages, **({"replicates": 200, "seed": 1} | more))


def assert_same(one: Resampled, other: Resampled) -> None:
    for name in ("survival", "std_error", "lower", "upper"):
        np.testing.assert_allclose(getattr(one, name), getattr(other, name), rtol=0, atol=1e-12, err_msg=name)


def test_the_estimate_is_the_npmle() -> None:
    data = reef(1)
    np.testing.assert_array_equal(limits(data).survival, turnbull(data["left"], data["right"]).at(AGES))


def test_the_same_seed_gives_the_same_limits() -> None:
    assert_same(limits(reef(1)), limits(reef(1)))


def test_without_a_seed_chance_decides() -> None:
    data = reef(1)
    assert not np.array_equal(limits(data, seed=None).std_error, limits(data, seed=None).std_error)


def test_order_of_rows_plays_no_part() -> None:
    data = reef(1)
    mixed = np.random.default_rng(2).permutation(data["left"].size)
    np.testing.assert_allclose(
        limits(data).std_error, limits({key: column[mixed] for key, column in data.items()}).std_error, atol=1e-3
    )


def test_limits_of_a_group_do_not_depend_on_which_others_there_are() -> None:
    here, there = reef(1), reef(2, plots=9)
    both = {key: np.concatenate((here[key], there[key])) for key in here}
    together = limits(both, group=["here"] * 120 + ["there"] * 90)
    assert_same(together["here"], limits(here))
    assert_same(together["there"], limits(there))


def test_a_weight_is_as_many_rows() -> None:
    data = reef(1, corals=4)
    weight = np.arange(48) % 3 + 1
    repeated = {key: np.repeat(column, weight) for key, column in data.items()}
    assert_same(limits(data, weight=weight), limits(repeated))


def test_rows_of_weight_nought_make_no_plot() -> None:
    data = reef(1)
    with_empty = {
        "left": np.append(data["left"], 0),
        "right": np.append(data["right"], 30),
        "cluster": np.append(data["cluster"], 99),
    }
    assert limits(with_empty, weight=np.append(np.ones(120), 0)).clusters == 12


def test_a_day_known_and_the_day_before_it_as_interval_give_the_same_limits() -> None:
    rng = np.random.default_rng(4)
    plot = np.repeat(np.arange(10), 8)
    day = np.ceil(rng.exponential(300 * rng.gamma(2, 0.5, 10)[plot]))
    right = np.where(day > 400, INF, day)
    dated = limits({"left": np.minimum(day, 400), "right": right, "cluster": plot})  # by running products
    within = limits({"left": np.where(day > 400, 400, day - 1), "right": right, "cluster": plot})  # by the search
    np.testing.assert_allclose(dated.std_error, within.std_error, rtol=2e-3)


def test_the_error_of_single_corals_is_the_binomial_one() -> None:
    dead = np.arange(200) < 60
    one_each = limits(
        {"left": np.where(dead, 0, 365), "right": np.where(dead, 365, INF), "cluster": np.arange(200)}, replicates=4000
    )
    assert one_each.std_error[3] == pytest.approx((0.7 * 0.3 / 199) ** 0.5, rel=0.04)


def test_corals_that_share_their_plots_fate_count_as_one() -> None:
    dead = np.arange(20) < 6
    data = {"left": np.where(dead, 0, 365), "right": np.where(dead, 365, INF), "cluster": np.arange(20)}
    tenfold = {key: np.repeat(column, 10) for key, column in data.items()}
    assert_same(limits(data), limits(tenfold))


def test_fewer_plots_give_wider_limits_for_the_same_error() -> None:
    few, many = (limits(reef(3, plots=plots)) for plots in (4, 40))
    spans = [np.log(np.log(one.lower[3]) / np.log(one.upper[3])) * one.survival[3] / one.std_error[3] for one in (few, many)]
    assert spans[0] > spans[1]


def test_one_plot_has_an_estimate_but_no_limits() -> None:
    alone = limits({"left": [0, 30], "right": [30, INF], "cluster": ["ring 1", "ring 1"]})
    assert alone.survival[0] == 0.5
    assert np.isnan([alone.std_error, alone.lower, alone.upper]).all()


def test_where_nothing_died_there_is_no_spread_and_no_limit() -> None:
    whole = limits({"left": [365] * 6, "right": [INF] * 6, "cluster": [1, 1, 2, 2, 3, 3]})
    assert whole.std_error.tolist() == [0, 0, 0, 0]
    assert np.isnan([whole.lower, whole.upper]).all()


def test_before_the_first_visit_everything_lives() -> None:
    early = limits(reef(1), ages=[0, 1])
    assert early.survival.tolist() == [1, 1]
    assert early.std_error.tolist() == [0, 0]


def test_a_group_of_weight_nought_is_listed_and_empty() -> None:
    data = {"left": [0, 30, 30], "right": [30, INF, INF], "cluster": [1, 2, 3]}
    both = limits(data, group=["gone", "there", "there"], weight=[0, 1, 1])
    assert both["gone"].clusters == 0
    assert np.isnan(both["gone"].survival).all()


def test_no_corals_at_all_give_no_figure() -> None:
    assert np.isnan(limits({"left": [], "right": [], "cluster": []}).survival).all()


def test_a_large_group_is_taken_in_parts_with_the_same_limits(monkeypatch: pytest.MonkeyPatch) -> None:
    data = reef(1)
    whole = limits(data)
    monkeypatch.setattr("fieldkit.survival.replicates._CELLS", 500)
    np.testing.assert_allclose(limits(data).std_error, whole.std_error, rtol=2e-3)


def test_limits_cover_the_truth_where_twelve_plots_share_their_fates() -> None:
    """A small run of scripts/bench/coverage.py: 95 % of 300 are to cover, give or take three standard errors."""
    covered = 0
    for seed in range(300):
        rng = np.random.default_rng(seed)
        plot = np.repeat(np.arange(12), 10)
        dies = np.ceil(rng.exponential(500 * 1 / rng.gamma(2, 0.5, 12)[plot]))
        right = np.where(dies > 400, INF, dies)
        at = bootstrap_survival(np.minimum(dies, 400), right, plot, [365], replicates=200, seed=seed)
        covered += int(at.lower[0] <= (1 + 365 / 500 / 2) ** -2 <= at.upper[0])
    assert covered / 300 == pytest.approx(0.95, abs=0.038)


def apart(data: dict[str, Any], group: Any, one: Any = "a", other: Any = "b", **more: Any) -> Contrast:
    return bootstrap_difference(**data, ages=AGES, group=group, one=one, other=other, **({"replicates": 300, "seed": 1} | more))


def two_genotypes(seed: int) -> tuple[dict[str, Any], Any]:
    """Both in every plot."""
    data = reef(seed, corals=20)
    return data, np.array(["a", "b"])[np.arange(240) % 2]


def test_a_difference_is_that_of_the_two_estimates() -> None:
    data, group = two_genotypes(1)
    each = turnbull(data["left"], data["right"], group=group)
    np.testing.assert_allclose(apart(data, group).difference, each["a"].at(AGES) - each["b"].at(AGES), rtol=0, atol=1e-7)


def test_turning_a_difference_round_turns_its_limits() -> None:
    data, group = two_genotypes(1)
    here, there = apart(data, group), apart(data, group, "b", "a")
    np.testing.assert_allclose(here.lower, -there.upper, rtol=0, atol=1e-12)


def test_what_both_suffer_in_a_plot_they_share_cancels() -> None:
    data, group = two_genotypes(2)
    shared = apart(data, group).std_error[3]
    each = limits(data, group=group)
    assert shared < 0.8 * np.hypot(each["a"].std_error[3], each["b"].std_error[3])


def test_groups_that_share_no_plot_have_the_errors_of_both() -> None:
    here, there = reef(3), reef(4)
    both = {key: np.concatenate((here[key], there[key])) for key in here} | {"cluster": np.repeat(np.arange(24), 10)}
    group = np.repeat(["a", "b"], 120)
    each = limits(both, group=group)
    expected = np.hypot(each["a"].std_error, each["b"].std_error)
    np.testing.assert_allclose(apart(both, group, replicates=1000).std_error[1:], expected[1:], rtol=0.2)


def test_rows_of_other_groups_play_no_part_in_a_difference() -> None:
    data, group = two_genotypes(1)
    more = {key: np.append(column, column[:60]) for key, column in data.items()}
    with_others = apart(more, np.append(group, ["c"] * 60))
    np.testing.assert_array_equal(with_others.std_error, apart(data, group).std_error)


def test_a_difference_within_one_plot_has_no_limits() -> None:
    single = apart({"left": [0, 30, 30], "right": [30, INF, INF], "cluster": [1, 1, 1]}, ["a", "a", "b"])
    assert single.difference[0] == -0.5
    assert np.isnan([single.std_error, single.lower, single.upper]).all()


def test_replicates_without_one_of_the_groups_are_left_out() -> None:
    data = reef(1)
    group = np.where(data["cluster"] == 0, "a", "b")  # a third of the draws miss the one plot of a
    assert np.isfinite(apart(data, group).std_error).all()


def test_where_nothing_died_on_one_side_a_difference_has_no_limits() -> None:
    data = {"left": [0, 365, 0, 365, 365, 365, 365, 365], "right": [30, INF, 30] + [INF] * 5, "cluster": [1, 1, 2, 2] * 2}
    single = apart(data, ["a"] * 4 + ["b"] * 4)
    assert single.difference[3] == -0.5
    assert np.isnan([single.lower, single.upper]).all()


def test_progress_is_told_after_each_group() -> None:
    told: list[tuple[int, int]] = []
    limits(reef(1), group=np.repeat(["a", "b", "c"], 40), progress=lambda done, of: told.append((done, of)))
    assert told == [(1, 3), (2, 3), (3, 3)]


def test_what_progress_raises_ends_the_work() -> None:
    def stop(done: int, of: int) -> None:
        raise InterruptedError

    with pytest.raises(InterruptedError):
        limits(reef(1), progress=stop)
