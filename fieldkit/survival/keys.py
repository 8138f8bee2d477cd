"""Rows by an integer key: one sort, then runs."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from fieldkit.survival.columns import Floats

Keys: TypeAlias = NDArray[np.signedinteger[Any]]


def collected(key: Keys, weight: Floats | None) -> tuple[Keys, Floats]:
    """The distinct keys, rising, and the weight on each (without weights, how often it came)."""
    if weight is None:
        key = np.sort(key)
        starts = _starts(key)
        return key[starts], np.diff(starts, append=key.size).astype(np.float64)
    order = np.argsort(key)
    key = key[order]
    starts = _starts(key)
    return key[starts], np.add.reduceat(weight[order], starts) if starts.size else weight[:0]


def distinct(rising: Keys) -> Keys:
    """The distinct keys of a sorted array."""
    return rising[_starts(rising)]


def _starts(rising: Keys) -> NDArray[np.intp]:
    """Where each run of equal keys starts."""
    new = np.ones(rising.size, dtype=bool)
    np.not_equal(rising[1:], rising[:-1], out=new[1:])
    return np.flatnonzero(new)
