"""How many corals and plots: the trade's worked figures, statsmodels, and a variance worked by hand and by simulation."""

from __future__ import annotations

import json
from collections.abc import Iterator
from math import ceil
from typing import Any

import numpy as np
import pytest
from statsmodels.regression.linear_model import OLS
from statsmodels.stats.proportion import power_proportions_2indep, samplesize_proportions_2indep_onetail

from fieldkit.base import View
from fieldkit.reports.effort import Effort, corals_to_tell, corals_within, correlation, design_effect, effort
from fieldkit.reports.errors import QuestionError
from fieldkit.reports.question import Question
from tests.reports.reef import Sites


@pytest.fixture(scope="module")
def view(tmp_path_factory: pytest.TempPathFactory) -> Iterator[View]:
    """Four plots of ten, two at either site: 9 and 5 alive at A, 8 and 4 at B; a fifth plot at B never seen again."""
    sites = Sites()
    for site, lived in (("A", (9, 5)), ("B", (8, 4))):
        seen: dict[str, str] = {}
        for number, alive in enumerate(lived, 1):
            corals = sites.plant(f"{site}{number}", f"G{number}", 10)
            seen |= dict(zip(corals, ["alive"] * alive + ["missing"] + ["dead"] * (9 - alive), strict=True))
        sites.dive(site, "2025-03-01", seen)
    sites.plant("B3", "G3", 4)
    with sites.base(tmp_path_factory.mktemp("effort")).view() as opened:
        yield opened


@pytest.fixture(scope="module")
def found(view: View) -> Effort:
    return effort(view, Question(by=("genotype",)), age_days=365, difference=0.2)


def test_ten_points_either_way_take_96_independent_corals() -> None:
    assert round(corals_within(0.10)) == 96


@pytest.mark.parametrize(("icc", "effect"), [(0.1, 1.9), (0.2, 2.8), (0.3, 3.7)])
def test_design_effects_of_ten_corals_a_plot(icc: float, effect: float) -> None:
    assert design_effect(10, icc) == pytest.approx(effect)


def test_a_hundred_corals_in_plots_of_ten_are_worth_36() -> None:
    assert round(100 / design_effect(10, 0.2)) == 36


@pytest.mark.parametrize(("high", "low"), [(0.8, 0.6), (0.95, 0.9), (0.5, 0.1), (1.0, 0.8)])
@pytest.mark.parametrize("power", [0.8, 0.9])
def test_independent_corals_are_as_many_as_statsmodels_says(high: float, low: float, power: float) -> None:
    theirs = samplesize_proportions_2indep_onetail(high - low, low, power, alpha=0.05, alternative="two-sided")
    assert corals_to_tell(high, low, power=power) == pytest.approx(theirs, rel=1e-9)


def test_with_so_many_corals_the_power_is_what_was_asked_for() -> None:
    # The two-sided test may also err to the wrong side, which the formula leaves out: one in a million.
    power = power_proportions_2indep(0.2, 0.6, corals_to_tell(0.8, 0.6, power=0.8), alpha=0.05).power
    assert power == pytest.approx(0.8, abs=1e-5)


def test_a_higher_level_takes_more_corals() -> None:
    theirs = samplesize_proportions_2indep_onetail(0.2, 0.6, 0.8, alpha=0.01, alternative="two-sided")
    assert corals_to_tell(0.8, 0.6, level=0.99) == pytest.approx(theirs, rel=1e-9)


def test_correlation_of_a_case_worked_by_hand() -> None:
    # Two plots of ten, 9 and 5 alive. Between: 2 x 10 x 0.2^2 / 1 = 0.8; within: (0.9 + 2.5) / 18. With ten a plot,
    # (0.8 - 0.18889) / (0.8 + 9 x 0.18889) = 0.24444.
    found = correlation(np.array([9.0, 5]), np.array([10.0, 10]), np.array([0, 0]))
    assert found.icc == pytest.approx((0.8 - 3.4 / 18) / (0.8 + 9 * 3.4 / 18))


def test_plots_against_chance_are_as_statsmodels_has_it() -> None:
    lived = [0, 2, 4, 1, 3, 5, 6]
    plot, site_of_plot = np.repeat(np.arange(7), 6), np.array([0, 0, 0, 1, 1, 1, 1])
    alive = np.concatenate([np.arange(6) < alive for alive in lived]).astype(float)
    by_plot, by_site = OLS(alive, np.eye(7)[plot]).fit(), OLS(alive, np.eye(2)[site_of_plot[plot]]).fit()
    f = by_plot.compare_f_test(by_site)[0]
    assert f > 1
    found = correlation(np.array(lived, dtype=float), np.full(7, 6.0), site_of_plot)
    assert found.icc == pytest.approx((f - 1) / (f + 5))


def test_what_sites_differ_in_is_not_plots_likeness() -> None:
    apart = correlation(np.array([9.0, 9, 1, 1]), np.full(4, 10.0), np.array([0, 0, 1, 1]))
    assert apart.icc == 0


def test_correlation_is_found_again_and_its_limits_hold_it() -> None:
    # Survival of a plot varies as beta(2, 2): corals of a plot correlate by 1 / (2 + 2 + 1).
    by_chance = np.random.default_rng(2)
    size, site = np.tile([6.0, 10, 14], 16), np.repeat([0, 1, 2, 3], 12)
    found = [correlation(by_chance.binomial(size.astype(int), by_chance.beta(2, 2, 48)) * 1.0, size, site) for _ in range(300)]
    assert np.mean([one.icc for one in found]) == pytest.approx(0.2, abs=0.01)
    held = np.mean([one.lower <= 0.2 <= one.upper for one in found])  # type: ignore[operator]
    assert 0.9 < held <= 0.99


def test_one_plot_a_site_tells_nothing_of_plots() -> None:
    assert correlation(np.array([9.0, 5]), np.array([10.0, 10]), np.array([0, 1])).icc is None


def test_all_alive_tells_nothing_of_plots() -> None:
    assert correlation(np.array([10.0, 10]), np.array([10.0, 10]), np.array([0, 0])).icc is None


def test_survival_and_correlation_come_from_the_programmes_own_plots(found: Effort) -> None:
    # A: 9 and 5 of 10; B: 8 and 4 of 10, and four that are not known: they count with their site's chance, 0.6.
    assert found.lost.survival == pytest.approx((14 + 12 + 4 * 0.6) / 44)
    assert (found.lost.unknown, found.lost.correlation.plots, found.lost.correlation.sites) == (4, 5, 2)
    assert found.lost.correlation.icc is not None
    assert 0.1 < found.lost.correlation.icc < 0.3


def test_missing_left_open_is_not_known_at_the_age(found: Effort) -> None:
    assert found.open.unknown == 4 + 4


def test_what_lacks_is_what_is_needed_less_what_is_there(found: Effort) -> None:
    need = next(one for one in found.lost.groups if one.labels == {"genotype": "G1"})
    effect = design_effect(10, found.lost.correlation.icc or 0)
    assert (need.corals, need.plots, need.per_plot) == (20, 2, 10)
    assert need.need_corals == ceil(corals_to_tell(*found.lost.compared or (1, 0)) * effect)
    assert need.need_plots == ceil(need.need_corals / 10)
    assert (need.more_corals, need.more_plots) == (need.need_corals - 20, need.need_plots - 2)


def test_fewer_a_plot_need_fewer_corals_in_more_plots(found: Effort) -> None:
    ten, four = (next(one for one in found.lost.groups if one.labels == {"genotype": name}) for name in ("G1", "G3"))
    assert four.need_corals < ten.need_corals
    assert four.need_plots > ten.need_plots


def test_the_difference_lies_about_survival_and_stays_a_share(view: View) -> None:
    found = effort(view, Question(), age_days=365, difference=0.9).lost
    assert found.compared == pytest.approx((1.0, 0.1))


@pytest.mark.parametrize(("asked", "said"), [({"age_days": 0}, "0"), ({"difference": 20}, "20"), ({"power": 80}, "80")])
def test_a_number_out_of_its_range_is_refused(view: View, asked: dict[str, Any], said: str) -> None:
    with pytest.raises(QuestionError, match=said):
        effort(view, Question(), **({"age_days": 365, "difference": 0.2, "power": 0.8} | asked))


def test_nobody_planted_needs_no_number(view: View) -> None:
    found = effort(view, Question(where={"site": "Z"}), age_days=365, difference=0.2).lost
    assert (found.survival, found.groups) == (None, ())


def test_json_has_plain_values_alone(found: Effort) -> None:
    plain = found.to_json()
    assert json.loads(json.dumps(plain)) == plain
