"""The table that every estimate from dated deaths starts from: one row per group and distinct age.

One sort of a packed (group, age, censored) key; everything else is counting runs. Deaths come before censorings on the
same day: who is censored on a day was at risk on it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from fieldkit.survival.columns import Bools, Floats, Ints
from fieldkit.survival.ticks import Ticks, ticks

Keys: TypeAlias = NDArray[np.signedinteger[Any]]

_ROUNDING = 1e-9  # of the weight at risk: what adding and taking off fractional weights may leave of an empty risk set


@dataclass(frozen=True)
class LifeTable:
    """Rows of group g are `bounds[g]:bounds[g + 1]`, by age; a group without corals has none."""

    bounds: Ints
    time: Floats
    at_risk: Floats
    deaths: Floats
    censored: Floats

    def rows(self, group: int) -> slice:
        return slice(int(self.bounds[group]), int(self.bounds[group + 1]))


def life_table(
    time: Floats, dead: Bools, code: Ints, groups: int, weight: Floats | None = None, entry: Floats | None = None
) -> LifeTable:
    """Count who was at risk, died and was censored at each distinct age of each group.

    A coral is at risk in (entry, time]; an entry of 0 is no late entry, so a death at age 0 counts. A weight of 0 is no coral.
    """
    if weight is not None and not weight.all():
        kept = weight > 0
        time, dead, code, weight = time[kept], dead[kept], code[kept], weight[kept]
        entry = None if entry is None else entry[kept]
    scale = ticks(time) if entry is None else ticks(time, entry)
    key = _key(code, scale.columns[0], groups, scale.span)
    key += key
    key += ~dead
    if weight is None:
        key.sort()
        leaving_each = None
    else:
        order = np.argsort(key)
        key, leaving_each = key[order], weight[order]
    cell = key >> 1
    starts = np.flatnonzero(np.diff(cell, prepend=cell.dtype.type(-1)))
    row = cell[starts].astype(np.int64)
    bounds = np.searchsorted(row, np.arange(groups + 1) * scale.span)
    deaths, censored = _counted(key, starts, leaving_each)
    at_risk = running(np.add, (deaths + censored)[::-1], len(row) - bounds[::-1])[::-1]
    if entry is not None:
        at_risk = at_risk - _not_yet_in(row, scale, code, entry > 0, weight)
        at_risk = np.where(at_risk - deaths <= _ROUNDING * at_risk.max(initial=0.0), deaths, at_risk)
    return LifeTable(bounds, scale.time(row % scale.span), at_risk, deaths, censored)


def running(ufunc: np.ufunc, values: Floats, bounds: Ints) -> Floats:
    """`ufunc.accumulate` within each group of concatenated rows.

    A plain loop over slices, half a microsecond a group: one sum over everything with each group's base taken off again
    loses the digits that Greenwood's small terms live in (1e-7 of them at 1,000 groups), and padding to a matrix is slower.
    """
    out = np.empty_like(values)
    accumulate = ufunc.accumulate
    for start, end in pairwise(bounds.tolist()):
        accumulate(values[start:end], out=out[start:end])
    return out


def _key(code: Ints, tick: Ints, groups: int, span: int) -> Keys:
    """(group, tick) as one integer with room for one bit more; 32 bits where they suffice, since those sort twice as fast."""
    kind = np.dtype(np.int32 if 2 * groups * span < 2**31 else np.int64)
    key: Keys = code.astype(kind)
    key *= span
    key += tick.astype(kind)
    return key


def _counted(key: Keys, starts: Ints, weight: Floats | None) -> tuple[Floats, Floats]:
    """Deaths and censorings of each run of the sorted key, whose last bit says censored."""
    if not starts.size:
        return np.zeros(0), np.zeros(0)
    censored = (key & 1).astype(bool)
    if weight is not None:
        return (
            np.add.reduceat(np.where(censored, 0.0, weight), starts),
            np.add.reduceat(np.where(censored, weight, 0.0), starts),
        )
    alive = np.add.reduceat(censored, starts, dtype=np.int64)
    return (np.diff(starts, append=key.size) - alive).astype(np.float64), alive.astype(np.float64)


def _not_yet_in(row: Ints, scale: Ticks, code: Ints, late: Bools, weight: Floats | None) -> Floats:
    """For each row of the table, the weight in its group that enters at its age or later."""
    group_of, entry = code[late], scale.columns[1][late]
    key = group_of * scale.span + entry
    order = np.argsort(key)
    key = key[order]
    entered = np.concatenate(([0.0], np.cumsum(np.ones(key.size) if weight is None else weight[late][order])))
    end_of_group = np.searchsorted(key, (row // scale.span + 1) * scale.span)
    return entered[end_of_group] - entered[np.searchsorted(key, row)]
