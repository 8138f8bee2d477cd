"""Any two groups compared, at the sites that have both."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from fieldkit.reports.ranking.expected import Flags, Numbers, Places
from fieldkit.reports.ranking.luck import Luck, small
from fieldkit.reports.ranking.tally import Tally, ratio

LEAST_LEFT = 0.25
"""Two groups side by side in the same plots have the same luck, which then takes variance away: never more than leaves this
share of it. Chosen by us: with few plots the estimate of luck is rough, and a variance near 0 would prove anything."""


@dataclass(frozen=True, eq=False)
class Pairs:
    """All pairs of groups, each group with those after it; arrays of one length, of both groups with shape (2, pairs).

    Attributes:
        groups: their numbers.
        shared: whether a site has both, shape (sites, pairs).
        corals, plots, lost: of either, at the sites that have both.
        ratio: rate of loss of the first to that of the second; nan where there is no such site, or nothing was lost there.
        lower, upper: its limits.
        p_value: chance of so great a difference if both die alike; nan as well where no plot can be spared to tell.
    """

    groups: Places
    shared: Flags
    corals: Numbers
    plots: Numbers
    lost: Numbers
    ratio: Numbers
    lower: Numbers
    upper: Numbers
    p_value: Numbers


def pairs(table: Tally, plots: Luck, level: float) -> Pairs:
    """Compare all pairs.

    The ratio is Peto's one step: it agrees with the test, and has limits where one group lost nothing; ratios beyond about 3 it
    draws towards 1.

    Source:
        Yusuf et al. 1985, Prog. Cardiovasc. Dis. 27:335-371.
    """
    groups = np.array(np.triu_indices(table.sites.corals.shape[1], 1), dtype=np.int64)
    sides = [table.sites.of(its) for its in groups]
    shared = (sides[0].corals > 0) & (sides[1].corals > 0)
    (lost, other_lost), (due, other_due) = ([side.lost for side in sides], [side.due for side in sides])
    rate = np.where(shared, ratio(lost + other_lost, due + other_due, nothing=0.0), 0.0)
    share = ratio(due, due + other_due, nothing=0.0)
    information = (rate * share * other_due).sum(axis=0)
    corals = sides[0].corals + sides[1].corals
    scatter = sides[0].scatter(rate) + sides[1].scatter(rate)
    chance = np.where(shared, scatter * share * (1 - share) * small(corals), 0.0).sum(axis=0)
    by_luck = _by_luck(table, plots, groups, rate, share)
    error = ratio(np.sqrt(np.maximum(chance + by_luck, LEAST_LEFT * chance)), information)
    log_ratio = ratio(np.where(shared, lost - rate * due, 0.0).sum(axis=0), information)
    steps = ratio(log_ratio, error, nothing=0.0)  # no error: all were lost alike
    half = scipy.special.stdtrit(max(plots.spare, 1), 0.5 + level / 2) * error
    with np.errstate(over="ignore"):  # a handful of corals may leave everything open: then a limit is 0 or infinite
        middle, lower, upper = (np.exp(value) for value in (log_ratio, log_ratio - half, log_ratio + half))
    in_plots = table.membership.T @ (table.plots.corals > 0)
    return Pairs(
        groups,
        shared,
        _at_shared(shared, [side.corals for side in sides]),
        _at_shared(shared, [in_plots[:, its] for its in groups]),
        _at_shared(shared, [lost, other_lost]),
        middle,
        lower,
        upper,
        2 * scipy.special.stdtr(max(plots.spare, 1), -np.abs(steps)),
    )


def _by_luck(table: Tally, plots: Luck, groups: Places, rate: Numbers, share: Numbers) -> Numbers:
    """What the luck of plots adds to the variance of each pair, through any two corals of one plot."""
    one, other = (table.plots.of(its) for its in groups)
    share, rate = share[table.site], rate[table.site]
    sums = (1 - share) * one.due - share * other.due
    by_itself = (1 - share) ** 2 * one.due_squared + share**2 * other.due_squared
    added: Numbers = plots.variance * (rate**2 * (sums**2 - by_itself)).sum(axis=0)
    return added


def _at_shared(shared: Flags, sides: list[Numbers]) -> Numbers:
    return np.array([(side * shared).sum(axis=0) for side in sides])
