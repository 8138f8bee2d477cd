"""How many losses were to be expected of each coral, if all corals of its site died alike.

The heart of a log-rank test, for deaths that are known only to lie between two visits. Dating them when found would not do
here: of two plots of a site the one that is visited first in a round finds its deaths first, and would look the worse for it.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from fieldkit.survival import IntervalCurve, turnbull

Numbers = NDArray[np.float64]
Places = NDArray[np.int64]
Flags = NDArray[np.bool_]


def expected_losses(left: Numbers, right: Numbers, weight: Numbers, stratum: Places) -> Numbers:
    """The losses to be expected of each row, under the one curve that all rows of its stratum have together.

    A coral last seen alive at an age is due the hazard summed up to there; one lost in an interval, the mean of what is due at
    each age in it. Observed less expected is Sun's score: over a stratum it adds up to 0, and where every death has its
    day it is that of the usual log-rank test.

    Args:
        left, right, weight: intervals of death as `turnbull` takes them, shape (n,).
        stratum: a number per row, shape (n,): rows of one stratum (a site) are compared with each other.

    Returns:
        Losses due to one coral of each row, shape (n,), >= 0.

    Source:
        Sun 1996, Stat. Med. 15:1387-1395, in the form of Fay & Shaw 2010, J. Stat. Softw. 36(2), section 3.
    """
    due = np.zeros_like(left)
    if left.size:
        curves = turnbull(left, right, weight=weight, group=stratum)
        for number, rows in _by_stratum(stratum):
            due[rows] = _due(curves[number], left[rows], right[rows])
    return due


def _by_stratum(stratum: Places) -> Iterator[tuple[int, Places]]:
    order = np.argsort(stratum, kind="stable")
    starts = np.flatnonzero(np.diff(stratum[order], prepend=-1))
    for rows in np.split(order, starts[1:]):
        yield int(stratum[rows[0]]), rows


def _due(curve: IntervalCurve, left: Numbers, right: Numbers) -> Numbers:
    lost = _running(curve.mass)
    hazard = np.cumsum(curve.mass / (1 - lost[:-1]))
    due = _running(curve.mass * hazard)
    exact = left == right
    start = np.where(exact, np.searchsorted(curve.right, left), np.searchsorted(curve.right, left, side="right"))
    end = np.searchsorted(curve.right, right, side="right")
    died = np.isfinite(right)
    inside = np.where(died, lost[end] - lost[start], 1.0)
    return np.where(died, (due[end] - due[start]) / inside, np.concatenate(([0.0], hazard))[start])


def _running(values: Numbers) -> Numbers:
    """Sums of the first 0, 1, 2 … values."""
    return np.concatenate(([0.0], np.cumsum(values)))
