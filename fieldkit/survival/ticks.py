"""Times as whole ticks, so that equal times are equal and a (group, time) key is one integer.

Whole days are their own ticks. Other times become their rank; times that differ only by rounding are one time, by the rule
of R's `survival` (tied where the step is at most 1.5e-8, or that share of the mean): 0.1 + 0.2 and 0.3 are the same age.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldkit.survival.columns import Floats, Ints

_LONGEST = 1 << 20  # whole days up to here (2,870 years) are their own ticks; beyond, ranks keep the keys short
_ROUNDING = float(np.sqrt(np.finfo(np.float64).eps))


@dataclass(frozen=True)
class Ticks:
    """Ticks of several columns on one scale; `time` gives back the age that a tick stands for."""

    columns: tuple[NDArray[np.signedinteger[Any]], ...]
    ages: Floats | None
    span: int  # every tick is below it

    def time(self, tick: Ints) -> Floats:
        return tick.astype(np.float64) if self.ages is None else self.ages[tick]


def ticks(*columns: Floats) -> Ticks:
    """The columns (finite, >= 0) as ticks on one scale, order and ties kept."""
    latest = max((float(column.max()) for column in columns if column.size), default=0.0)
    if latest < _LONGEST:
        whole = tuple(column.astype(np.int32) for column in columns)
        if all(np.array_equal(day, column) for day, column in zip(whole, columns, strict=True)):
            return Ticks(whole, None, int(latest) + 1)
    return _ranks(columns)


def _ranks(columns: tuple[Floats, ...]) -> Ticks:
    distinct, rank = np.unique(np.concatenate(columns), return_inverse=True)
    step = np.diff(distinct)
    new = np.ones(distinct.size, dtype=bool)
    new[1:] = (step > _ROUNDING) & (step > _ROUNDING * distinct.mean())
    merged = (np.cumsum(new) - 1)[rank]
    parts = np.split(merged, np.cumsum([column.size for column in columns])[:-1])
    return Ticks(tuple(parts), distinct[new], int(new.sum()))
