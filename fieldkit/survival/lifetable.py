"""The table that every estimate from dated deaths starts from: one row per group and distinct age.

One packed (group, age, censored) key; everything else is counting. Deaths come before censorings on the
same day: who is censored on a day was at risk on it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from fieldkit.survival.columns import Bools, Floats, Ints
from fieldkit.survival.keys import Keys, collected, distinct
from fieldkit.survival.ticks import Ticks, ticks

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
    key = _key(code, scale.columns[0], dead, groups, scale.span)
    row, deaths, censored = _counted(key, weight, groups * scale.span)
    bounds = np.searchsorted(row, np.arange(groups + 1) * scale.span)
    at_risk = _still_there(deaths + censored, bounds, whole=weight is None)
    if entry is not None:
        at_risk = at_risk - _not_yet_in(row, scale, code, entry > 0, weight)
        at_risk = np.where(at_risk - deaths <= _ROUNDING * at_risk.max(initial=0.0), deaths, at_risk)
    return LifeTable(bounds, scale.time(row % scale.span), at_risk, deaths, censored)


def _still_there(leaving: Floats, bounds: Ints, *, whole: bool) -> Floats:
    """How many leave at a row of the group or later."""
    if whole:  # sums of whole numbers are exact, so one over all groups will do
        gone = np.concatenate(([0.0], np.cumsum(leaving)))
        return np.repeat(gone[bounds[1:]], np.diff(bounds)) - gone[:-1]
    return running(np.add, leaving[::-1], leaving.size - bounds[::-1])[::-1]


def running(ufunc: np.ufunc, values: Floats, bounds: Ints) -> Floats:
    """`ufunc.accumulate` within each group of concatenated rows.

    A plain loop over slices, half a microsecond a group: one sum over everything with each group's base taken off again
    loses the digits that small terms of a variance live in (1e-7 of them at 1,000 groups), and padding to a matrix is slower.
    """
    out = np.empty_like(values)
    accumulate = ufunc.accumulate
    for start, end in pairwise(bounds.tolist()):
        accumulate(values[start:end], out=out[start:end])
    return out


def _key(code: Ints, tick: Keys, dead: Bools, groups: int, span: int) -> Keys:
    """(group, tick, censored) as one integer; of 32 bits where they suffice, since those sort twice as fast."""
    key: Keys = code.astype(np.int32 if 2 * groups * span < 2**31 else np.int64)
    key *= span
    key += tick
    key *= 2
    key += ~dead
    return key


def _counted(key: Keys, weight: Floats | None, cells: int) -> tuple[Ints, Floats, Floats]:
    """The (group, tick)s that occur, rising, and what died and was censored at each.

    By a table of all of them where it is hardly larger than the data, else by sorting: the same, in a third of the time.
    """
    if 2 * cells <= 4 * key.size:
        table = np.bincount(key, weight, 2 * cells)
        dead, alive = table[0::2], table[1::2]
        row = np.flatnonzero(dead + alive)
        return row, dead[row].astype(np.float64), alive[row].astype(np.float64)
    key, count = collected(key, weight)
    row = distinct(key >> 1).astype(np.int64)
    by_kind = np.zeros((row.size, 2))
    by_kind[np.searchsorted(row, key >> 1), key & 1] = count
    return row, by_kind[:, 0], by_kind[:, 1]


def _not_yet_in(row: Ints, scale: Ticks, code: Ints, late: Bools, weight: Floats | None) -> Floats:
    """For each row of the table, the weight in its group that enters at its age or later."""
    group_of, entry = code[late], scale.columns[1][late]
    key = group_of * scale.span + entry
    order = np.argsort(key)
    key = key[order]
    entered = np.concatenate(([0.0], np.cumsum(np.ones(key.size) if weight is None else weight[late][order])))
    end_of_group = np.searchsorted(key, (row // scale.span + 1) * scale.span)
    return entered[end_of_group] - entered[np.searchsorted(key, row)]
