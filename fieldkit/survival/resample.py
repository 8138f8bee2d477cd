"""Limits that know that corals of one plot share a fate: whole plots are drawn anew, not corals.

A storm, a snail or a slipped ring takes neighbours together, so ten corals of one plot tell less than ten of ten plots.
Each replicate draws plots with replacement, one fewer than there are (drawing all would make the spread too small by
(plots - 1) / plots), and estimates survival from them. The spread of the replicates gives the standard error; the limits
are taken from it on the log-log scale, with plots - 1 degrees of freedom. The plain percentiles of the replicates cover too
little with few plots: `docs/survival.md` has the figures.

Source:
    Rao & Wu 1988, J. Am. Stat. Assoc. 83:231-241 (drawing one fewer); Davison & Hinkley 1997, Bootstrap Methods, chapter 3.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Hashable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import overload

import numpy as np
import scipy
from numpy.typing import ArrayLike

from fieldkit.survival.columns import Columns, Floats, Ints
from fieldkit.survival.curve import log_log_limits
from fieldkit.survival.errors import IntervalError
from fieldkit.survival.groups import ByGroup, Groups, Labels, numbered
from fieldkit.survival.innermost import Rows, merged_rows
from fieldkit.survival.replicates import ByPlot, Draws, by_plot, replicated
from fieldkit.survival.turnbull import IntervalCurve, estimated

_AT_ONCE = min(4, os.cpu_count() or 1)  # groups; each holds some 100 MB while it is computed. Chosen by us


@dataclass(frozen=True, eq=False)
class Resampled:
    """Survival at stated ages with limits over plots; arrays of the length of `ages`.

    Attributes:
        ages: days since outplanting.
        survival: the estimate from all plots, as `turnbull` gives it.
        std_error: spread of the replicates; nan with fewer than two plots.
        lower, upper: limits; nan where survival is 0 or 1, for which the log-log scale has no place.
        clusters: how many plots there were.
    """

    ages: Floats
    survival: Floats
    std_error: Floats
    lower: Floats
    upper: Floats
    clusters: int


@dataclass(frozen=True, eq=False)
class Contrast:
    """How much higher one group's survival is than another's at stated ages; arrays of the length of `ages`.

    Attributes:
        ages: days since outplanting.
        difference: survival of the one less that of the other.
        std_error: spread of the replicates; nan with fewer than two plots.
        lower, upper: limits, within -1 and 1; nan where either survival is 0 or 1, since there its spread is unknown.
        clusters: how many plots hold either group.
    """

    ages: Floats
    difference: Floats
    std_error: Floats
    lower: Floats
    upper: Floats
    clusters: int


@overload
def bootstrap_survival(
    left: ArrayLike,
    right: ArrayLike,
    cluster: Labels,
    ages: ArrayLike,
    *,
    weight: ArrayLike | None = ...,
    replicates: int = ...,
    seed: int | None = ...,
    level: float = ...,
    group: None = ...,
    progress: Callable[[int, int], None] | None = ...,
) -> Resampled: ...
@overload
def bootstrap_survival(
    left: ArrayLike,
    right: ArrayLike,
    cluster: Labels,
    ages: ArrayLike,
    *,
    weight: ArrayLike | None = ...,
    replicates: int = ...,
    seed: int | None = ...,
    level: float = ...,
    group: Labels,
    progress: Callable[[int, int], None] | None = ...,
) -> ByGroup[Resampled]: ...
def bootstrap_survival(
    left: ArrayLike,
    right: ArrayLike,
    cluster: Labels,
    ages: ArrayLike,
    *,
    weight: ArrayLike | None = None,
    replicates: int = 1000,
    seed: int | None = None,
    level: float = 0.95,
    group: Labels | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Resampled | ByGroup[Resampled]:
    """Survival at stated ages, with limits from drawing whole plots anew.

    Args:
        left, right: the interval in which each coral died, as for `turnbull`, shape (n,). Where every row is exact
            (left = right) or never found dead (right = inf) the estimate is Kaplan-Meier's.
        cluster: the plot of each row, shape (n,): a label.
        ages: days since outplanting at which limits are wanted, shape (k,), >= 0.
        weight: how many corals each row stands for, shape (n,), >= 0. Default 1.
        replicates: how often plots are drawn, >= 2. With 1,000 the limits move by about 2 % of their width from seed to seed.
        seed: same seed, same limits, whatever the order of rows and whatever other groups there are. None: by chance.
        level: what the limits are to cover, between 0 and 1.
        group: a label per row, shape (n,). Given, the result maps label to its own; plots are drawn for each group alone.
        progress: called after each group with how many are done and how many there are; what it raises ends the work.

    Returns:
        A `Resampled`. It knows of chance between plots and between corals, not of what is undetermined inside an
        innermost interval: choose ages at which corals were seen. There is no late entry: the NPMLE has none, and the few
        corals that are followed only from an age on are left out of it; `kaplan_meier` takes them, with Greenwood's errors.

    Raises:
        IntervalError: names each faulty argument with its first bad index, value and cure.

    Source:
        Rao & Wu 1988, J. Am. Stat. Assoc. 83:231-241.
    """
    start, end, weights, at = _checked(left, right, cluster, ages, weight, replicates, seed, level, group)
    groups, plots = numbered(group, start.size), numbered(cluster, start.size)
    curve = estimated(merged_rows(start, end, groups.code, len(groups.labels), weights), len(groups.labels))
    pairs, pair = np.unique(groups.code * len(plots.labels) + plots.code, return_inverse=True)
    rows = merged_rows(start, end, pair, pairs.size, weights)
    bounds = np.searchsorted(pairs[rows.left // rows.span] // max(len(plots.labels), 1), np.arange(len(groups.labels) + 1))
    draws = Draws(replicates, seed)

    def limited(number: int) -> Resampled:
        own = rows.only(slice(*bounds[number : number + 2]))
        return _limited(curve(number).at(at), at, own, draws, level)

    made: list[Resampled] = []
    # NumPy lets other threads run while it computes, and each group is computed alone: two go at once on two cores.
    workers = ThreadPoolExecutor(_AT_ONCE)
    try:
        for one in workers.map(limited, range(len(groups.labels))):
            made.append(one)
            if progress is not None:
                progress(len(made), len(groups.labels))
    finally:
        workers.shutdown(cancel_futures=True)
    return made[0] if group is None else ByGroup(groups.labels, made.__getitem__)


def bootstrap_difference(
    left: ArrayLike,
    right: ArrayLike,
    cluster: Labels,
    ages: ArrayLike,
    group: Labels,
    one: Hashable,
    other: Hashable,
    *,
    weight: ArrayLike | None = None,
    replicates: int = 1000,
    seed: int | None = None,
    level: float = 0.95,
) -> Contrast:
    """How much higher the survival of one group is than that of another, with limits from drawing whole plots anew.

    All plots that hold either group are drawn together, so that what both suffer in a plot they share cancels.

    Args:
        left, right, cluster, ages, weight, replicates, seed, level: as for `bootstrap_survival`.
        group: a label per row, shape (n,).
        one, other: the two labels that are compared; rows of other labels play no part.

    Returns:
        A `Contrast`. Replicates in which either group has no plot are left out.

    Raises:
        IntervalError: names each faulty argument with its first bad index, value and cure, and a label that is not there.

    Source:
        Rao & Wu 1988, J. Am. Stat. Assoc. 83:231-241.
    """
    start, end, weights, at = _checked(left, right, cluster, ages, weight, replicates, seed, level, group)
    groups, plots = numbered(group, start.size), numbered(cluster, start.size)
    corals = np.ones(start.size) if weights is None else weights
    rows = [np.flatnonzero((groups.code == _place(groups, label)) & (corals > 0)) for label in (one, other)]
    union = np.unique(plots.code[np.concatenate(rows)])
    sides = [_side(start[own], end[own], corals[own], np.searchsorted(union, plots.code[own]), union.size) for own in rows]
    survival = [curve.at(at) for curve, _ in sides]
    value = survival[0] - survival[1]
    if union.size < 2:
        unknown = np.full(at.size, np.nan)
        return Contrast(at, value, unknown, unknown, unknown, union.size)
    drawn = Draws(replicates, seed).of(union.size)
    drawn = drawn[np.all([drawn @ table.table.sum(axis=1) > 0 for _, table in sides], axis=0)]
    apart = replicated(sides[0][1], drawn, at) - replicated(sides[1][1], drawn, at)
    error = apart.std(axis=0, ddof=1) if len(apart) > 1 else np.full(at.size, np.nan)
    within = np.all(
        [(alive > 0) & (alive < 1) for alive in survival], axis=0
    )  # else the error of one side is 0, out of ignorance
    half = np.where(within, float(scipy.special.stdtrit(union.size - 1, 0.5 + level / 2)) * error, np.nan)
    return Contrast(at, value, error, np.maximum(value - half, -1), np.minimum(value + half, 1), union.size)


def _place(groups: Groups, label: Hashable) -> int:
    if label not in groups.labels:
        raise IntervalError.of("survival.no_such_group", value=label)
    return groups.labels.index(label)


def _side(start: Floats, end: Floats, corals: Floats, plot: Ints, plots: int) -> tuple[IntervalCurve, ByPlot]:
    """One side of a comparison: its estimate, and its corals by plot, with a row for every plot of either side."""
    whole = merged_rows(start, end, np.zeros(start.size, dtype=np.int64), 1, corals)
    rows = merged_rows(start, end, plot, plots, corals)
    return estimated(whole, 1)(0), by_plot(rows, rows.left // rows.span, plots)


def _checked(
    left: ArrayLike,
    right: ArrayLike,
    cluster: Labels,
    ages: ArrayLike,
    weight: ArrayLike | None,
    replicates: int,
    seed: int | None,
    level: float,
    group: Labels | None,
) -> tuple[Floats, Floats, Floats | None, Floats]:
    """The ends, weights and ages of a call, once nothing is found wrong with any of it."""
    columns, wanted = Columns(IntervalError), Columns(IntervalError)
    start = columns.times("left", left)
    end = columns.times("right", right, endless=True)
    columns.order("survival.right_before_left", start, end, np.greater)
    columns.labels("cluster", cluster)
    weights = columns.weights("weight", weight)
    if group is not None:
        columns.labels("group", group)
    columns.level(level)
    columns.demand(seed is None or seed >= 0, "survival.not_a_seed", value=seed)
    columns.demand(replicates >= 2, "survival.too_few_replicates", value=replicates)
    columns.done()
    at = wanted.times("ages", ages)
    wanted.done()
    return start, end, weights, at


def _limited(survival: Floats, ages: Floats, rows: Rows, draws: Draws, level: float) -> Resampled:
    plots, plot = np.unique(rows.left // rows.span, return_inverse=True)
    if plots.size < 2:
        unknown = np.full(ages.size, np.nan)
        return Resampled(ages, survival, unknown, unknown, unknown, plots.size)
    error = replicated(by_plot(rows, plot, plots.size), draws.of(plots.size), ages).std(axis=0, ddof=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        lower, upper = log_log_limits(survival, error / survival, float(scipy.special.stdtrit(plots.size - 1, 0.5 + level / 2)))
    return Resampled(ages, survival, error, lower, upper, plots.size)
