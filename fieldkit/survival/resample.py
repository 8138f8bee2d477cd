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

from dataclasses import dataclass
from itertools import pairwise
from typing import overload

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from fieldkit.survival.columns import Bools, Columns, Floats, Ints
from fieldkit.survival.curve import log_log_limits
from fieldkit.survival.errors import IntervalError
from fieldkit.survival.groups import ByGroup, Labels, numbered
from fieldkit.survival.innermost import Rows, merged_rows
from fieldkit.survival.masses import Cover, masses
from fieldkit.survival.turnbull import estimated

GAP = 1e-4  # of a replicate: what is left of the search is small beside the spread between replicates
_CELLS = 4_000_000  # of one matrix of replicates: 32 MB, so that many replicates of a large group are taken in parts


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

    Returns:
        A `Resampled`. It knows of chance between plots and between corals, not of what is undetermined inside an
        innermost interval: choose ages at which corals were seen.

    Raises:
        IntervalError: names each faulty argument with its first bad index, value and cure.

    Source:
        Rao & Wu 1988, J. Am. Stat. Assoc. 83:231-241.
    """
    columns = Columns(IntervalError)
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
    wanted = Columns(IntervalError)
    at = wanted.times("ages", ages)
    wanted.done()
    groups, plots = numbered(group, start.size), numbered(cluster, start.size)
    curve = estimated(merged_rows(start, end, groups.code, len(groups.labels), weights), len(groups.labels))
    pairs, pair = np.unique(groups.code * len(plots.labels) + plots.code, return_inverse=True)
    rows = merged_rows(start, end, pair, pairs.size, weights)
    draws = _Draws(replicates, seed)
    bounds = np.searchsorted(
        rows.left, np.searchsorted(pairs, np.arange(len(groups.labels) + 1) * len(plots.labels)) * rows.span
    )
    made = [
        _limited(curve(number).at(at), at, _by_plot(rows, slice(first, last)), draws, level)
        for number, (first, last) in enumerate(pairwise(bounds.tolist()))
    ]
    return made[0] if group is None else ByGroup(groups.labels, made.__getitem__)


class _Draws:
    """How often each plot is drawn in each replicate. The same for every group of as many plots, so that no group's limits
    depend on which others there are."""

    def __init__(self, replicates: int, seed: int | None) -> None:
        self.replicates = replicates
        self._seed = int(np.random.default_rng().integers(2**63)) if seed is None else seed
        self._made: dict[int, Floats] = {}

    def of(self, plots: int) -> Floats:
        """Shape (replicates, plots), each row adding up to plots - 1."""
        if plots not in self._made:
            by_chance = np.random.default_rng([self._seed, plots])
            drawn = by_chance.multinomial(plots - 1, np.full(plots, 1 / plots), self.replicates)
            self._made[plots] = drawn.astype(np.float64)
        return self._made[plots]


@dataclass(frozen=True)
class _ByPlot:
    """One group: its distinct intervals, and how many corals of each plot lie in each.

    Attributes:
        age: age of every end in order of code (`innermost` explains the order), inf where there is none.
        is_right: whether it is a right end.
        first, last: places of an interval's ends among these, shape (intervals,).
        table: corals, shape (plots, intervals).
    """

    age: Floats
    is_right: Bools
    first: Ints
    last: Ints
    table: Floats

    @property
    def is_dated(self) -> bool:
        """Every death has its day: the estimate is Kaplan-Meier's, and a running product finds it."""
        return bool(np.all((self.age[self.first] == self.age[self.last]) | np.isinf(self.age[self.last])))


def _by_plot(rows: Rows, its: slice) -> _ByPlot:
    left, right = rows.left[its] % rows.span, rows.right[its] % rows.span
    plot = rows.left[its] // rows.span
    interval, which = np.unique(left * rows.span + right, return_inverse=True)
    ends = np.unique(np.concatenate((left, right)))
    distinct_plots, row = np.unique(plot, return_inverse=True)
    table = np.zeros((distinct_plots.size, interval.size))
    table[row, which] = rows.weight[its]
    first, last = np.searchsorted(ends, interval // rows.span), np.searchsorted(ends, interval % rows.span)
    return _ByPlot(rows.age(ends), ends % 3 == 1, first, last, table)


def _limited(survival: Floats, ages: Floats, plots: _ByPlot, draws: _Draws, level: float) -> Resampled:
    number = plots.table.shape[0]
    if number < 2:
        unknown = np.full(ages.size, np.nan)
        return Resampled(ages, survival, unknown, unknown, unknown, number)
    drawn = draws.of(number)
    part = max(1, _CELLS // max(plots.age.size, plots.first.size))
    estimate = _dated if plots.is_dated else _between_visits
    parts = [estimate(plots, drawn[at : at + part], ages) for at in range(0, len(drawn), part)]
    error = np.concatenate(parts).std(axis=0, ddof=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        lower, upper = log_log_limits(survival, error / survival, float(stdtrit(number - 1, 0.5 + level / 2)))
    return Resampled(ages, survival, error, lower, upper, number)


def _dated(plots: _ByPlot, drawn: Floats, ages: Floats) -> Floats:
    """Survival of each replicate at each age, shape (replicates, ages), every death having its day."""
    dies = np.isfinite(plots.age[plots.last])
    day = plots.age[plots.first]
    days = np.unique(day[dies])
    deaths = np.zeros((plots.table.shape[0], days.size + 1))
    leaving = np.zeros_like(deaths)
    deaths[:, np.searchsorted(days, day[dies]) + 1] = plots.table[:, dies]
    _add_columns(leaving, np.searchsorted(days, day, side="right"), plots.table)
    at_risk = np.cumsum(leaving[:, ::-1], axis=1)[:, ::-1]
    n, d = drawn @ at_risk, drawn @ deaths
    lives = np.divide(n - d, n, out=np.ones_like(n), where=n > 0)
    survival: Floats = np.multiply.accumulate(lives, axis=1)
    return survival[:, np.searchsorted(days, ages, side="right")]


def _add_columns(into: Floats, places: Ints, columns: Floats) -> None:
    """Add each column to the one at its place; several may have the same."""
    np.add.at(into.T, places, columns.T)


def _between_visits(plots: _ByPlot, drawn: Floats, ages: Floats) -> Floats:
    """The same where deaths lie in intervals: every replicate is a group of its own for the search.

    Its innermost intervals are found anew, since a plot that was not drawn takes its ends along: a right end that follows
    directly on a left one closes an interval. A row begins at the node that so many closed before its left end, and ends at
    the node of those closed by its right end.
    """
    seen = np.zeros((plots.table.shape[0], plots.age.size))
    for ends in (plots.first, plots.last):
        _add_columns(seen, ends, plots.table)
    present = drawn @ seen > 0
    place = np.where(present, np.arange(plots.age.size), -1)
    before = np.maximum.accumulate(place, axis=1)[:, :-1]
    closes = present & plots.is_right
    closes[:, 0] = False
    closes[:, 1:] &= ~plots.is_right[before]
    closed = np.cumsum(closes, axis=1)
    heads = np.concatenate(([0], np.cumsum(closed[:, -1] + 1)))
    corals = drawn @ plots.table
    replicate, interval = np.nonzero(corals > 0)
    first = heads[replicate] + closed[replicate, plots.first[interval]]
    last = heads[replicate] + closed[replicate, plots.last[interval]]
    curve, _ = masses(Cover(first, last, corals[replicate, interval], replicate, heads), GAP)
    passed = np.searchsorted(plots.age, ages, side="right")
    nodes = np.where(passed > 0, closed[:, np.maximum(passed, 1) - 1], 0)
    dead: Floats = curve[heads[:-1, None] + nodes]
    return 1 - dead
