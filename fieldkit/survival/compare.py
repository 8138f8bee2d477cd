"""Do groups of corals die at different rates, and by how much do they differ?

The log-rank test asks whether the curves differ anywhere; `difference` how far apart two are at one age; `holm` keeps the
error of many such questions at the level of one.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike

from fieldkit.survival.columns import Bools, Columns, Floats, Ints
from fieldkit.survival.curve import Curve, Estimate
from fieldkit.survival.groups import Groups, Labels, numbered
from fieldkit.survival.keys import Keys
from fieldkit.survival.lifetable import running
from fieldkit.survival.ticks import Ticks, ticks


@dataclass(frozen=True, eq=False)
class LogRank:
    """The K-sample log-rank test; arrays in the order of `groups`.

    Attributes:
        statistic: chi-square.
        df: its degrees of freedom, groups that were ever compared less one.
        p_value: chance of so large a statistic if the groups die alike; nan with fewer than two groups to compare.
        observed, expected: deaths seen in each group, and due if all died alike.
        covariance: of observed - expected, shape (K, K), hypergeometric, with the factor (n - d) / (n - 1) for ties.
        groups: the labels.
    """

    statistic: float
    df: int
    p_value: float
    observed: Floats
    expected: Floats
    covariance: Floats
    groups: tuple[Hashable, ...]


def logrank(
    time: ArrayLike,
    event: ArrayLike,
    group: Labels,
    *,
    weight: ArrayLike | None = None,
    strata: Labels | None = None,
    entry: ArrayLike | None = None,
) -> LogRank:
    """Test whether groups of corals die alike (K-sample log-rank, stratified if wished).

    Args:
        time: age at death, or when last seen alive, days since outplanting, shape (n,), >= 0.
        event: 1 or True where `time` is a death, 0 or False where the coral was last seen alive, shape (n,).
        group: a label per row, shape (n,): what is compared.
        weight: how many corals each row stands for, shape (n,), >= 0; taken as counts. Default 1.
        strata: a label per row, shape (n,): only corals of one stratum (a site, say) are compared with each other;
            observed, expected and covariance are added over strata before the test.
        entry: age from which the coral was under observation, below `time`; at risk in (entry, time].

    Returns:
        A `LogRank`. A group that is never at risk beside another while something dies takes no part, nor in `df`.
        Corals of one plot share a fate, which the test does not know: its p-values are too small where plots differ.

    Raises:
        SurvivalError: names each faulty argument with its first bad index, value and cure.

    Source:
        Mantel 1966, Cancer Chemother. Rep. 50:163-170; Peto & Peto 1972, J. R. Stat. Soc. A 135:185-207.
    """
    columns = Columns()
    ages = columns.times("time", time)
    dead = columns.events("event", event)
    columns.labels("group", group)
    weights = columns.weights("weight", weight)
    entries = None
    if entry is not None:
        entries = columns.times("entry", entry)
        columns.order("survival.entry_not_before", entries, ages, lambda start, end: (start > 0) & (start >= end))
    if strata is not None:
        columns.labels("strata", strata)
    columns.done()
    sides, layers = numbered(group, ages.size), numbered(strata, ages.size)
    deaths, at_risk = _tables(ages, dead, sides, layers, weights, entries)
    d, n = deaths.sum(axis=1), at_risk.sum(axis=1)
    share = at_risk / n[:, None]
    spread = np.divide(d * (n - d), n - 1, out=np.zeros_like(n), where=n > 1)
    covariance = np.diag(spread @ share) - (share * spread[:, None]).T @ share
    return _tested(deaths.sum(axis=0), d @ share, covariance, sides.labels)


def difference(one: Curve, other: Curve, age: float, *, level: float = 0.95) -> Estimate:
    """How much higher the survival of `one` is than that of `other` at an age, with Greenwood's errors.

    The two groups must share no coral and, for the limits to hold, no plot; for plots use `bootstrap_difference`.

    Args:
        one, other: curves of `kaplan_meier`.
        age: days since outplanting, >= 0.
        level: what the limits are to cover, between 0 and 1.

    Returns:
        An `Estimate` with normal limits within -1 and 1; nan where either curve has no error (nothing left, no corals).
    """
    columns = Columns()
    columns.level(level)
    columns.done()
    here, there = one.figures([age]), other.figures([age])
    value = float(here.survival[0] - there.survival[0])
    error = float(np.hypot(here.std_error[0], there.std_error[0]))
    half = float(scipy.special.ndtri(0.5 + level / 2)) * error
    return Estimate(value, error, max(value - half, -1.0), min(value + half, 1.0), value, value)


def holm(p_values: ArrayLike) -> Floats:
    """P-values adjusted for being many (Holm's step-down): compare each with the level wanted for all together.

    Args:
        p_values: shape (m,), 0 to 1; nan is not counted among the m and stays nan.

    Source:
        Holm 1979, Scand. J. Stat. 6:65-70.
    """
    given = np.asarray(p_values, dtype=np.float64)
    adjusted = np.full_like(given, np.nan)
    order = np.argsort(given, kind="stable")[: np.count_nonzero(~np.isnan(given))]  # nan sorts last
    steps = np.arange(order.size, 0, -1) * given[order]
    adjusted[order] = np.minimum(np.maximum.accumulate(steps), 1.0)
    return adjusted


def _tables(
    ages: Floats, dead: Bools, sides: Groups, layers: Groups, weight: Floats | None, entry: Floats | None
) -> tuple[Floats, Floats]:
    """Deaths and corals at risk, one row per stratum and distinct age of death, one column per group."""
    scale = ticks(ages) if entry is None else ticks(ages, entry)
    row, bounds = _rows(layers.code, scale, dead, len(layers.labels), len(sides.labels))
    shape = int(bounds[-1]), len(sides.labels), 2
    leaving = _counted(row(layers.code, scale.columns[0]), sides.code, dead, weight, shape)
    at_risk = _from_the_end(leaving.sum(axis=2), bounds)
    deaths = leaving[:, :, 1]
    if entry is not None:
        late = entry > 0
        entering = row(layers.code[late], scale.columns[1][late])
        kept = None if weight is None else weight[late]
        at_risk -= _from_the_end(_counted(entering, sides.code[late], dead[late], kept, shape).sum(axis=2), bounds)
    mortal = deaths.any(axis=1)
    return deaths[mortal], at_risk[mortal]


def _rows(stratum: Ints, scale: Ticks, dead: Bools, strata: int, groups: int) -> tuple[Callable[[Ints, Keys], Keys], Ints]:
    """The row of a (stratum, tick) in the table, and the bounds of the strata among the rows.

    Every tick has a row where such a table is hardly larger than the data; else only those at which something died, and in each
    stratum one before its first death. A row stands for the ages from its own on, up to the next row's.
    """
    if strata * scale.span * groups <= 4 * stratum.size + 4096:
        return lambda layer, tick: layer * scale.span + tick, np.arange(strata + 1) * scale.span
    moments = np.unique((stratum * scale.span + scale.columns[0])[dead])
    numbers = np.arange(strata + 1)
    return (
        lambda layer, tick: np.searchsorted(moments, layer * scale.span + tick, side="right") + layer,
        np.searchsorted(moments, numbers * scale.span) + numbers,
    )


def _counted(row: Keys, group: Ints, dead: Bools, weight: Floats | None, shape: tuple[int, int, int]) -> Floats:
    """Corals by row, group, and whether dead."""
    cell = (row * shape[1] + group) * 2
    cell += dead
    return np.bincount(cell, weight, int(np.prod(shape))).reshape(shape).astype(np.float64)


def _from_the_end(leaving: Floats, bounds: Ints) -> Floats:
    """How many leave at a row of the stratum or later."""
    return running(np.add, leaving[::-1], len(leaving) - bounds[::-1])[::-1]


def _tested(observed: Floats, expected: Floats, covariance: Floats, labels: tuple[Hashable, ...]) -> LogRank:
    """Chi-square over the independent directions of observed - expected, which always sum to 0 where groups were compared.

    Through the eigenvectors of the covariance scaled to correlations: the same as leaving one group out, and right too where
    strata fall apart into sets of groups that never meet.
    """
    compared = np.flatnonzero(np.diag(covariance) > 0)
    if not compared.size:
        return LogRank(np.nan, 0, np.nan, observed, expected, covariance, labels)
    scale = np.sqrt(np.diag(covariance)[compared])
    size, direction = np.linalg.eigh(covariance[np.ix_(compared, compared)] / np.outer(scale, scale))
    along = ((observed - expected)[compared] / scale) @ direction
    free = size > 1e-9 * size[-1]
    df = int(np.count_nonzero(free))
    statistic = float(np.sum(along[free] ** 2 / size[free]))
    return LogRank(statistic, df, float(scipy.special.chdtrc(df, statistic)), observed, expected, covariance, labels)
