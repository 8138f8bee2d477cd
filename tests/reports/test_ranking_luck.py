"""Corals of a plot share a fate: what luck of plots is found, and that tests which know of it keep their promise.

The simulations have fixed seeds. Rates are of some hundreds of pairs: at 5 % they vary by about 1 point.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldkit.reports.ranking.balance import balance
from fieldkit.reports.ranking.expected import Numbers, Places
from fieldkit.reports.ranking.luck import Luck, luck, p_value
from fieldkit.reports.ranking.pairs import Pairs, pairs
from fieldkit.reports.ranking.tally import Sums, Tally, tally
from fieldkit.survival import logrank

VISITS = np.array([0, 30, 90, 180, 365, 540, 730.0])


@dataclass(frozen=True)
class Layout:
    """Where corals stand: one number a coral, and the site of each plot."""

    group: Places
    plot: Places
    site_of_plot: Places

    def tally(self, left: Numbers, right: Numbers) -> Tally:
        groups = int(self.group.max()) + 1
        return tally(left, right, np.ones_like(left), self.group, self.plot, self.site_of_plot, groups)

    def lives(self, by_chance: np.random.Generator, *, luck: float, rates: Numbers) -> tuple[Numbers, Numbers]:
        """Left and right ends. Half of all die in two years; a plot's luck (gamma, mean 1) and a group's rate scale that."""
        plots = self.site_of_plot.size
        scale = by_chance.gamma(1 / luck, luck, plots) if luck else np.ones(plots)
        age = by_chance.exponential(1, self.plot.size) / (scale[self.plot] * rates[self.group]) * 730 / 0.7
        visit = np.searchsorted(VISITS, age)
        return VISITS[visit - 1], np.append(VISITS, np.inf)[visit]


def layout(sites: int, groups: int, plots: int, corals: int = 10) -> Layout:
    """Plots of one group each, so many of each group at each site."""
    site, group = np.divmod(np.repeat(np.arange(sites * groups), plots), groups)
    return Layout(np.repeat(group, corals), np.repeat(np.arange(site.size), corals), site)


def mixed(sites: int, groups: int) -> Layout:
    """Rings of five and five: each group beside the next, as many rings a site as groups."""
    plot = np.repeat(np.arange(sites * groups), 10)
    group = (plot + np.tile(np.repeat([0, 1], 5), sites * groups)) % groups
    return Layout(group, plot, np.repeat(np.arange(sites), groups))


def compared(table: Tally) -> tuple[Luck, Pairs]:
    found = luck(table, balance(table))
    return found, pairs(table, found, 0.95)


def rate_of(asked: Callable[[Layout, Numbers, Numbers], Numbers], here: Layout, runs: int, *, luck: float) -> float:
    """How often a p-value falls below 5 % though all groups die alike."""
    by_chance = np.random.default_rng(1)
    alike = np.ones(int(here.group.max()) + 1)
    return float(np.mean([asked(here, *here.lives(by_chance, luck=luck, rates=alike)) < 0.05 for _ in range(runs)]))


def plain(here: Layout, left: Numbers, right: Numbers) -> Numbers:
    lost = np.isfinite(right)
    found = logrank(np.where(lost, right, left), lost, here.group, strata=here.site_of_plot[here.plot])
    return np.array(found.p_value)


def of_pairs(here: Layout, left: Numbers, right: Numbers) -> Numbers:
    return compared(here.tally(left, right))[1].p_value


def of_all(here: Layout, left: Numbers, right: Numbers) -> Numbers:
    table = here.tally(left, right)
    return np.array(p_value(table, luck(table, balance(table))))


def test_luck_of_a_case_worked_by_hand() -> None:
    # Two plots of one group, five losses due in each, two and eight seen; a coral's losses vary as much as their mean. Squares
    # beyond chance: 9/5 + 9/5 - 1, for one plot to spare. Either plot is half free: luck adds 1/2 x 25/5 twice.
    ones, due = np.ones((2, 1)), np.full((2, 1), 5.0)
    table = Tally(Sums(10 * ones, np.array([[2.0], [8.0]]), due, 0 * ones, 0 * ones), np.zeros(2, dtype=np.int64))
    assert luck(table, balance(table)) == Luck(pytest.approx(2.6 / 5), 1)


def test_plots_that_fare_alike_have_no_luck() -> None:
    here = layout(1, 2, 4)
    left, right = np.tile([0.0] * 5 + [730.0] * 5, 8), np.tile([365.0] * 5 + [np.inf] * 5, 8)
    assert compared(here.tally(left, right))[0].variance == 0


def test_luck_is_found_again() -> None:
    here, by_chance = layout(4, 4, 5), np.random.default_rng(2)
    found = [luck_of(here, by_chance, 0.5) for _ in range(40)]
    assert np.mean(found) == pytest.approx(0.5, abs=0.08)


def luck_of(here: Layout, by_chance: np.random.Generator, true: float) -> float:
    table = here.tally(*here.lives(by_chance, luck=true, rates=np.ones(4)))
    return luck(table, balance(table)).variance


def test_with_one_plot_of_each_group_at_one_site_no_plot_can_be_spared() -> None:
    here = layout(1, 3, 1)
    found, asked = compared(here.tally(*here.lives(np.random.default_rng(3), luck=0.5, rates=np.ones(3))))
    assert np.isnan(found.variance)
    assert np.isnan(asked.p_value).all()


def test_groups_that_lost_all_on_one_visit_do_not_differ() -> None:
    here = layout(2, 2, 3)
    asked = compared(here.tally(np.zeros(120), np.full(120, 365.0)))[1]
    assert (asked.ratio[0], asked.p_value[0]) == (1, 1)


@given(st.lists(st.tuples(st.integers(0, 2), st.integers(0, 5), st.integers(0, 3), st.integers(1, 4)), min_size=1, max_size=30))
def test_whatever_was_seen_figures_are_figures(corals: list[tuple[int, int, int, int]]) -> None:
    """Group, plot (two at each of three sites), last visit alive, visits until it was lost (4: never)."""
    group, plot, left, gone = (np.array(column) for column in zip(*corals, strict=True))
    ends = np.append(VISITS, np.full(4, np.inf))
    table = Layout(group, plot, np.array([0, 0, 1, 1, 2, 2])).tally(VISITS[left], np.where(gone < 4, ends[left + gone], np.inf))
    balanced = balance(table)
    found, asked = compared(table)
    assert balanced.due.sum() == pytest.approx(table.sites.lost.sum(), abs=1e-6)
    assert not found.variance < 0
    assert not np.any((asked.p_value < 0) | (asked.p_value > 1) | (asked.lower > asked.ratio) | (asked.ratio > asked.upper))
    overall = p_value(table, found)
    assert np.isnan(overall) or 0 <= overall <= 1


def test_a_plain_log_rank_cries_wolf_where_plots_differ() -> None:
    assert rate_of(plain, layout(1, 2, 6), 300, luck=0.5) > 0.15


@pytest.mark.parametrize(
    ("here", "runs"),
    [
        pytest.param(layout(1, 2, 6), 300, id="one site, six plots of either"),
        pytest.param(layout(2, 3, 3), 150, id="two sites, three plots of each"),
        pytest.param(layout(4, 6, 2), 60, id="four sites, two plots of each"),
        pytest.param(mixed(4, 6), 60, id="two in each plot"),
    ],
)
def test_a_test_that_knows_of_luck_keeps_its_promise(here: Layout, runs: int) -> None:
    assert 0.015 < rate_of(of_pairs, here, runs, luck=0.5) < 0.07


def test_it_keeps_it_too_where_plots_do_not_differ() -> None:
    assert rate_of(of_pairs, layout(2, 3, 3), 80, luck=0) < 0.06


def test_all_groups_asked_about_at_once_keep_the_promise_too() -> None:
    here = layout(2, 4, 3)
    assert rate_of(of_all, here, 100, luck=0.5) < 0.08
    assert rate_of(plain, here, 100, luck=0.5) > 0.3


def test_a_group_that_is_worse_in_many_plots_is_told_apart() -> None:
    here, by_chance = layout(4, 3, 4), np.random.default_rng(4)
    found = [of_pairs(here, *here.lives(by_chance, luck=0.3, rates=np.array([3.0, 1, 1])))[0] for _ in range(50)]
    assert np.mean(np.array(found) < 0.05) > 0.8


def test_the_ratio_of_a_pair_is_found_again() -> None:
    here, by_chance = layout(4, 3, 6), np.random.default_rng(5)
    twice = np.array([2.0, 1, 1])
    found = [np.log(compared(here.tally(*here.lives(by_chance, luck=0.2, rates=twice)))[1].ratio[0]) for _ in range(50)]
    assert np.exp(np.mean(found)) == pytest.approx(2, rel=0.12)
