"""Plots drawn anew, and survival estimated from each draw.

Where every death has its day the estimate is Kaplan-Meier's, and running products over plot x day tables give all replicates
in a few matrix products. Where deaths lie between visits each replicate is one more group for the search of `masses`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldkit.survival.columns import Bools, Floats, Ints
from fieldkit.survival.innermost import Rows
from fieldkit.survival.masses import Cover, masses

# Of a replicate. Against 1e-7 it moves the spread by at most 0.1 %, a twentieth of what 1,000 replicates leave to chance; 1e-3
# takes a quarter longer.
GAP = 3e-3
_CELLS = 4_000_000  # of one matrix of replicates: 32 MB, so that many replicates of a large group are taken in parts


class Draws:
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
class ByPlot:
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
        """Whether every death has its day."""
        return bool(np.all((self.age[self.first] == self.age[self.last]) | np.isinf(self.age[self.last])))


def by_plot(rows: Rows, plot: Ints, plots: int) -> ByPlot:
    """The table of merged rows, each of which is of one plot, numbered below `plots`."""
    left, right = rows.left % rows.span, rows.right % rows.span
    interval, which = np.unique(left * rows.span + right, return_inverse=True)
    ends = np.unique(np.concatenate((left, right)))
    table = np.zeros((plots, interval.size))
    table[plot, which] = rows.weight
    first, last = np.searchsorted(ends, interval // rows.span), np.searchsorted(ends, interval % rows.span)
    return ByPlot(rows.age(ends), ends % 3 == 1, first, last, table)


def replicated(plots: ByPlot, drawn: Floats, ages: Floats) -> Floats:
    """Survival at each age in each replicate, shape (replicates, ages); every replicate holds some coral."""
    part = max(1, _CELLS // max(plots.age.size, plots.first.size))
    estimate = _dated if plots.is_dated else _between_visits
    return np.concatenate([estimate(plots, drawn[at : at + part], ages) for at in range(0, len(drawn), part)])


def _dated(plots: ByPlot, drawn: Floats, ages: Floats) -> Floats:
    """Every death having its day."""
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


def _between_visits(plots: ByPlot, drawn: Floats, ages: Floats) -> Floats:
    """Deaths lying in intervals: every replicate is a group of its own for the search.

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
