"""How much of the loss is due to each cause, when a coral can only be lost once.

Causes compete: one minus a Kaplan-Meier curve per cause, with the other losses as censored, adds up to more than was lost.
The cumulative incidences here add up to one minus survival, exactly.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import overload

import numpy as np
from numpy.typing import ArrayLike

from fieldkit.survival.columns import Bools, Columns, Floats, Ints
from fieldkit.survival.groups import ByGroup, Labels, numbered
from fieldkit.survival.lifetable import LifeTable, life_table, running


@dataclass(frozen=True, eq=False)
class Incidence:
    """Share lost to each cause by each distinct age; rows as in a `Curve`.

    Attributes:
        time: ages in days, rising.
        at_risk: corals under observation just before that age.
        survival: share lost to no cause, just after that age.
        incidence: cause to share lost to it by that age. Every cause of the whole call has an entry, 0 where it took none.
        variance: cause to the variance of that share, Greenwood type.
    """

    time: Floats
    at_risk: Floats
    survival: Floats
    incidence: Mapping[int, Floats]
    variance: Mapping[int, Floats]

    def at(self, ages: ArrayLike) -> Mapping[int, Floats]:
        """Cause to share lost to it by each age; 0 before the first row, flat past the last, `nan` without corals."""
        row = np.searchsorted(self.time, np.asarray(ages, dtype=np.float64), side="right")
        start = 0.0 if self.time.size else np.nan
        return {cause: np.concatenate(([start], share))[row] for cause, share in self.incidence.items()}


@overload
def cumulative_incidence(
    time: ArrayLike, cause: ArrayLike, *, weight: ArrayLike | None = ..., group: None = ...
) -> Incidence: ...
@overload
def cumulative_incidence(
    time: ArrayLike, cause: ArrayLike, *, weight: ArrayLike | None = ..., group: Labels
) -> ByGroup[Incidence]: ...
def cumulative_incidence(
    time: ArrayLike, cause: ArrayLike, *, weight: ArrayLike | None = None, group: Labels | None = None
) -> Incidence | ByGroup[Incidence]:
    """Share lost to each of several competing causes, by age (Aalen-Johansen).

    Args:
        time: age at loss, or when last seen alive, days since outplanting, shape (n,), >= 0.
        cause: what the coral was lost to, a whole number from 1 on, shape (n,); 0 where it was not lost.
        weight: how many corals each row stands for, shape (n,), >= 0. Default 1.
        group: a label per row, shape (n,). Given, the result maps label to its incidences.

    Returns:
        An `Incidence`. Its variance is of the Greenwood type (as R's `survival` and `etm` give it), which is smaller than
        the Aalen type of R's `cmprsk`. There is no late entry.

    Raises:
        SurvivalError: names each faulty argument with its first bad index, value and cure.

    Source:
        Aalen & Johansen 1978, Scand. J. Stat. 5:141-150; the variance
        is the delta method's (Marubini & Valsecchi 1995, Analysing Survival Data, chapter 10; from memory).
    """
    columns = Columns()
    ages = columns.times("time", time)
    causes = columns.causes("cause", cause)
    weights = columns.weights("weight", weight)
    if group is not None:
        columns.labels("group", group)
    columns.done()
    groups = numbered(group, ages.size)

    def table_of(lost: Bools) -> LifeTable:
        return life_table(ages, lost, groups.code, len(groups.labels), weights)

    table = table_of(causes > 0)
    tables = {int(kind): table_of(causes == kind) for kind in np.unique(causes) if kind > 0}  # all with the same rows
    survival = running(np.multiply, (table.at_risk - table.deaths) / table.at_risk, table.bounds)
    before = _just_before(survival, table.bounds)
    shares = {kind: running(np.add, before * one.deaths / one.at_risk, one.bounds) for kind, one in tables.items()}
    variances = {kind: _variance(table, tables[kind].deaths, before, share) for kind, share in shares.items()}

    def cut(at: int) -> Incidence:
        rows = table.rows(at)
        return Incidence(
            table.time[rows],
            table.at_risk[rows],
            survival[rows],
            {kind: share[rows] for kind, share in shares.items()},
            {kind: variance[rows] for kind, variance in variances.items()},
        )

    return cut(0) if group is None else ByGroup(groups.labels, cut)


def _just_before(survival: Floats, bounds: Ints) -> Floats:
    """Survival just before each row: that of the row above, 1 at the head of each group."""
    before = np.ones_like(survival)
    before[1:] = survival[:-1]
    before[bounds[:-1][np.diff(bounds) > 0]] = 1.0
    return before


def _variance(table: LifeTable, lost: Floats, before: Floats, share: Floats) -> Floats:
    """Variance of the share lost to one cause: with f = share at t less share at s, the sum over rows s up to t of

        f^2 d / (n (n - d))  -  2 f S(s-) l / n^2  +  S(s-)^2 l (n - l) / n^3,

    l lost to the cause, d to any, of n at risk; expanded in powers of the share at t so that running sums suffice.
    """
    n, d = table.at_risk, table.deaths
    hazard = np.zeros_like(n)  # where everything dies, f is 0 from there on and the term falls away
    np.divide(d, n * (n - d), out=hazard, where=n > d)
    cross = before * lost / n**2
    own = before**2 * lost * (n - lost) / n**3
    square, line, rest = (
        running(np.add, terms, table.bounds)
        for terms in (hazard, share * hazard + cross, share**2 * hazard + 2 * share * cross + own)
    )
    return np.maximum(share**2 * square - 2 * share * line + rest, 0.0)
