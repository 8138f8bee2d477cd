"""Corals of a plot share a fate, so what chance alone makes of a group's losses is wider than corals one by one would have it.

A log-rank test takes corals as independent. A storm or a snail takes neighbours together, and where a genotype stands in few
plots that test takes one bad plot for a bad genotype: of two like genotypes with six plots each it finds one worse in one case
of five, where one in twenty was promised. So each plot is given a luck of its own, which scales the losses of all its corals.
How much luck differs is estimated from all plots at once, after sites and groups have had their share, and widens every error.

Two ways that need no such model were tried and dropped: errors from the sums of plots (a sandwich), and dealing the groups
anew among the plots of a site. Both keep the one in twenty, but with two plots of a genotype at each of four sites neither can
ever reach the level that is left for one of 66 pairs. What this way asks instead is that luck differs alike everywhere.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from fieldkit.reports.ranking.balance import Balance
from fieldkit.reports.ranking.expected import Numbers
from fieldkit.reports.ranking.tally import Tally, ratio


@dataclass(frozen=True)
class Luck:
    """How plots differ beyond what chance, sites and groups explain.

    Attributes:
        variance: of the factor that scales a plot's losses, 1 in the mean; nan where no plot can be spared to tell.
        spare: plots beyond those that fitting sites and groups takes up: the degrees of freedom of every test.
    """

    variance: float
    spare: int


def luck(table: Tally, balanced: Balance) -> Luck:
    """How much plots differ, by the method of moments: the squares beyond what chance explains.

    Source:
        DerSimonian & Laird 1986, Control. Clin. Trials 7:177-188, with explaining columns (Thompson & Sharp 1999, Stat. Med.
        18:2693-2708). There studies differ, here plots.
    """
    weight = balanced.factor[table.site][:, None] * np.nan_to_num(balanced.ratio)
    mean = weight * table.plots.due
    due = mean.sum(axis=1)
    chance = due * table.noise[table.site]
    if not chance.any():  # nothing was lost, or all alike on one visit: no plot differs from another
        return Luck(0.0, 0)
    columns = np.concatenate((mean, due[:, None] * table.membership), axis=1)
    free = 1 - _leverage(columns * np.sqrt(ratio(np.ones_like(due), chance, nothing=0.0))[:, None])
    free = np.where(chance > 0, free, 0.0)
    spare = round(float(free.sum()))
    # Corals of a plot vary together; that each varies by itself is in `chance` already.
    together = due**2 - (weight**2 * table.plots.due_squared).sum(axis=1)
    shared = float(free @ ratio(together, chance, nothing=0.0))
    if not spare or shared <= 0:
        return Luck(np.nan, 0)
    squares = float(ratio((table.plots.lost.sum(axis=1) - due) ** 2, chance, nothing=0.0).sum())
    return Luck(max(0.0, (squares - spare) / shared), spare)


def _leverage(columns: Numbers) -> Numbers:
    """How much of each row the columns take up, 0 to 1; the rest is free."""
    directions, size, _ = np.linalg.svd(columns, full_matrices=False)
    used: Numbers = (directions[:, size > 1e-9 * size.max(initial=0.0)] ** 2).sum(axis=1)
    return used


def p_value(table: Tally, plots: Luck) -> float:
    """Chance of groups that differ so much if all die alike at their sites; nan where no plot can be spared to tell."""
    excess = (table.sites.lost - table.sites.due).sum(axis=0)
    variance = by_chance(table) + by_luck(table, plots)
    compared = np.flatnonzero(np.diag(variance) > 0)
    if not compared.size:
        return np.nan
    # Through independent directions: right too where sites fall apart into sets of groups that never meet.
    scale = np.sqrt(np.diag(variance)[compared])
    size, direction = np.linalg.eigh(variance[np.ix_(compared, compared)] / np.outer(scale, scale))
    free = size > 1e-9 * size[-1]
    along = (excess[compared] / scale) @ direction[:, free]
    number = int(np.count_nonzero(free))
    return float(scipy.special.fdtrc(number, plots.spare, np.sum(along**2 / size[free]) / number))


def dispersion(table: Tally, plots: Luck) -> Numbers:
    """Variance of each group's losses less those due, to those due: 1 were they Poisson counts. nan where nothing is compared
    with a group, or no plot can be spared to tell."""
    alone = np.diag(by_chance(table))
    both = np.maximum(alone + np.diag(by_luck(table, plots)), alone)
    return ratio(np.where(both > 0, both, np.nan), table.sites.due.sum(axis=0))


def by_chance(table: Tally) -> Numbers:
    """Covariance of the groups' losses less those due, corals independent, shape (groups, groups)."""
    corals = table.sites.corals.sum(axis=1)
    weight = table.noise * small(corals)
    due = table.sites.due * weight[:, None]
    return np.diag(due.sum(axis=0)) - due.T @ table.share


def by_luck(table: Tally, plots: Luck) -> Numbers:
    """What luck adds to it, through any two corals of one plot."""
    share = table.share[table.site]
    due, squared = table.plots.due, table.plots.due_squared
    sums = due - share * due.sum(axis=1, keepdims=True)
    mixed = squared.T @ share
    by_itself = np.diag(squared.sum(axis=0)) - mixed - mixed.T + (share * squared.sum(axis=1, keepdims=True)).T @ share
    added: Numbers = plots.variance * (sums.T @ sums - by_itself)
    return added


def small(corals: Numbers) -> Numbers:
    """What makes up for judging so many corals by a mean of their own."""
    return ratio(corals, corals - 1, nothing=0.0)
