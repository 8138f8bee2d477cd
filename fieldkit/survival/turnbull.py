"""Survival from deaths known only to lie between two visits: the estimate fieldkit shows first.

A coral seen alive on day 30 and found dead on day 92 died somewhere in (30, 92]. The nonparametric maximum likelihood
estimate uses just that. It puts mass only on *innermost intervals*, stretches from a left end directly to a right end;
the masses are unique, where inside its interval a mass lies is not. The search for the masses is in `masses.py`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import overload

import numpy as np
from numpy.typing import ArrayLike

from fieldkit.survival.columns import Columns, Floats, Ints
from fieldkit.survival.curve import SAME_SHARE, Estimate, check_share, check_until
from fieldkit.survival.errors import IntervalError
from fieldkit.survival.groups import ByGroup, Labels, numbered
from fieldkit.survival.innermost import Rows, innermost, merged_rows
from fieldkit.survival.keys import collected, distinct
from fieldkit.survival.masses import masses

GAP = 1e-9  # what the log-likelihood per coral may still gain; 1e-6 leaves third decimals of survival open, this does not

LEAST_MASS = 1e-9  # below it a mass is what the search left behind, not an estimate: one coral in a billion


@dataclass(frozen=True, eq=False)
class IntervalCurve:
    """The NPMLE: innermost intervals that hold mass, in order, all arrays of one length.

    Attributes:
        left, right: ends of each interval (left, right] in days; `right` is inf for what was never found dead. Where both
            are equal the day of death is known.
        mass: share that died inside.
        gap: proven bound of what the log-likelihood per coral could still gain.
        last_possible: for each coral the last age at which it may have been alive (its `right`), sorted; with
        reaching: how many corals lie at or after each of these.
    """

    left: Floats
    right: Floats
    mass: Floats
    gap: float
    last_possible: Floats
    reaching: Floats

    @property
    def time(self) -> Floats:
        """Right ends of the intervals with a finite one: the ages at which `survival` is known."""
        return self.right[np.isfinite(self.right)]

    @cached_property
    def survival(self) -> Floats:
        """Share alive at each `time`."""
        return self._after[: self.time.size]

    @property
    def at_risk(self) -> Floats:
        """Corals that may still have been alive at each `time`."""
        return self.at_risk_at(self.time)

    def at(self, ages: ArrayLike) -> Floats:
        """Survival at ages in days, shape as given; `nan` for a curve without corals.

        Inside an innermost interval, where any value from one end to the other fits equally well, that of its left end.
        """
        wanted = np.asarray(ages, dtype=np.float64)
        start = 1.0 if self.mass.size else np.nan
        return np.concatenate(([start], self._after))[np.searchsorted(self.right, wanted, side="right")]

    def at_risk_at(self, ages: ArrayLike) -> Floats:
        """Corals whose interval reaches past each age: those that may still have been alive."""
        later = np.concatenate((self.reaching, [0.0]))
        return later[np.searchsorted(self.last_possible, np.asarray(ages, dtype=np.float64), side="right")]

    def median(self) -> Estimate:
        """The age by which half have died: `quantile(0.5)`."""
        return self.quantile(0.5)

    def quantile(self, share: float) -> Estimate:
        """The age by which a share of the corals has died, 0 < share < 1: an interval, `low` to `high`.

        It is the innermost interval in which the curve passes 1 - share, or the whole flat stretch where it stays at exactly
        that. `value` is its midpoint, nan where `high` is infinite. For limits see `bootstrap_survival`.
        """
        check_share(share)
        reached = np.flatnonzero(self._after <= 1 - share + SAME_SHARE)
        if not reached.size:
            return Estimate(*(np.nan,) * 6)
        first = int(reached[0])
        low, high = float(self.left[first]), float(self.right[first])
        if self._after[first] >= 1 - share - SAME_SHARE and first + 1 < self.mass.size:
            low, high = high, float(self.left[first + 1])
        return Estimate((low + high) / 2 if np.isfinite(high) else np.nan, np.nan, np.nan, np.nan, low, high)

    def restricted_mean(self, until: float) -> Estimate:
        """Mean days lived up to an age > 0: the area under the curve from 0 to `until`.

        `low` and `high` put every mass at the left and the right end of its interval; `value` spreads it evenly inside.
        A mass without right end is taken as beyond `until`. For limits see `bootstrap_survival`.
        """
        check_until(until)
        if not self.mass.size:
            return Estimate(*(np.nan,) * 6)
        left, right = np.minimum(self.left, until), np.minimum(self.right, until)
        # Within (left, until) an even spread over (left, right] dies at the rate of 1 / (right - left) a day.
        early = np.divide(right - left, self.right - self.left, out=np.zeros_like(left), where=right > left)
        lived = np.where(right > left, early * (left + right) / 2 + (1 - early) * right, right)
        low, mean, high = (float(np.dot(self.mass, days)) for days in (left, lived, right))
        return Estimate(mean, np.nan, np.nan, np.nan, low, high)

    @cached_property
    def _after(self) -> Floats:
        """Share alive after each interval. Summed from the right, so that the last is exactly 0."""
        return np.concatenate((np.cumsum(self.mass[:0:-1])[::-1], [0.0])) if self.mass.size else self.mass


@overload
def turnbull(left: ArrayLike, right: ArrayLike, *, weight: ArrayLike | None = ..., group: None = ...) -> IntervalCurve: ...
@overload
def turnbull(left: ArrayLike, right: ArrayLike, *, weight: ArrayLike | None = ..., group: Labels) -> ByGroup[IntervalCurve]: ...
def turnbull(
    left: ArrayLike, right: ArrayLike, *, weight: ArrayLike | None = None, group: Labels | None = None
) -> IntervalCurve | ByGroup[IntervalCurve]:
    """Survival from deaths known only to lie in an interval (the NPMLE).

    Args:
        left: last age seen alive, days since outplanting, shape (n,), >= 0.
        right: first age found dead, days, shape (n,), >= left; `inf` where never found dead.
            Equal to `left` means that the day of death is known.
        weight: how many corals each row stands for, shape (n,), >= 0. Default 1.
        group: a label per row, shape (n,). Given, the result maps label to curve, sorted by label.

    Returns:
        An `IntervalCurve`; between the ends of an innermost interval its value is not determined by the data.

    Raises:
        IntervalError: names the first row whose `right` is before its `left`, or not a number, and any other fault.

    Source:
        Turnbull 1976, J. R. Stat. Soc. B 38:290-295.
    """
    columns = Columns(IntervalError)
    start = columns.times("left", left)
    end = columns.times("right", right, endless=True)
    columns.order("survival.right_before_left", start, end, np.greater)
    weights = columns.weights("weight", weight)
    if group is not None:
        columns.labels("group", group)
    columns.done()
    groups = numbered(group, start.size)
    cut = estimated(merged_rows(start, end, groups.code, len(groups.labels), weights), len(groups.labels))
    return cut(0) if group is None else ByGroup(groups.labels, cut)


def distinct_intervals(
    left: Floats, right: Floats, group: Ints, groups: int, weight: Floats | None = None
) -> tuple[Floats, Floats, Floats, Ints]:
    """Rows of a group with equal ends as one: what `turnbull` begins with, for who asks it about several sets of rows at once.

    Args:
        left, right, weight: as for `turnbull`; nothing is checked here.
        group: numbers from 0, below `groups`, shape (n,).

    Returns:
        left, right, weight and group of the distinct rows.
    """
    rows = merged_rows(left, right, group, groups, weight)
    return rows.age(rows.left), rows.age(rows.right), rows.weight, rows.left // rows.span


def estimated(rows: Rows, groups: int) -> Callable[[int], IntervalCurve]:
    """The estimate of all groups at once, as a function that cuts out the curve of one."""
    inside = innermost(rows)
    curve, gaps = masses(inside.cover, GAP)
    mass = np.delete(np.diff(curve, append=0.0), inside.cover.tails)
    held = np.flatnonzero(mass > LEAST_MASS)
    mass, left, right = mass[held], rows.age(inside.left[held]), rows.age(inside.right[held])
    last, corals = collected(rows.right, rows.weight)
    last_possible = rows.age(last)
    gap_of = np.full(groups, np.nan)
    gap_of[distinct(inside.left // rows.span)] = gaps
    heads = np.arange(groups + 1) * rows.span
    intervals = np.searchsorted(inside.left[held], heads).tolist()
    ends = np.searchsorted(last, heads).tolist()

    def cut(number: int) -> IntervalCurve:
        its, reached = (slice(bounds[number], bounds[number + 1]) for bounds in (intervals, ends))
        share = mass[its]
        return IntervalCurve(
            left[its],
            right[its],
            share / max(share.sum(), LEAST_MASS),
            float(gap_of[number]),
            last_possible[reached],
            np.cumsum(corals[reached][::-1])[::-1],
        )

    return cut
