"""The table that every estimate from dated deaths starts from: one row per group and distinct age.

One sort of a packed (group, age, censored) key; everything else is counting runs. Deaths come before censorings on the
same day: who is censored on a day was at risk on it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from fieldkit.survival.columns import Bools, Floats, Ints
from fieldkit.survival.keys import Keys, collected
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
    key, count = collected(key, weight)
    first = np.flatnonzero(np.diff(key >> 1, prepend=key.dtype.type(-1)))  # one or two keys a row of the table, the dead first
    row = key[first].astype(np.int64) >> 1
    bounds = np.searchsorted(row, np.arange(groups + 1) * scale.span)
    deaths = np.where(key[first] & 1, 0.0, count[first])
    censored = np.where(key[first] & 1, count[first], 0.0)
    pair = np.flatnonzero(np.diff(first, append=key.size) == 2)
    censored[pair] = count[first[pair] + 1]
    at_risk = running(np.add, (deaths + censored)[::-1], row.size - bounds[::-1])[::-1]
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


def _key(code: Ints, tick: Keys, dead: Bools, groups: int, span: int) -> Keys:
    """(group, tick, censored) as one integer; of 32 bits where they suffice, since those sort twice as fast."""
    key: Keys = code.astype(np.int32 if 2 * groups * span < 2**31 else np.int64)
    key *= span
    key += tick
    key *= 2
    key += ~dead
    return key


def _not_yet_in(row: Ints, scale: Ticks, code: Ints, late: Bools, weight: Floats | None) -> Floats:
    """For each row of the table, the weight in its group that enters at its age or later."""
    group_of, entry = code[late], scale.columns[1][late]
    key = group_of * scale.span + entry
    order = np.argsort(key)
    key = key[order]
    entered = np.concatenate(([0.0], np.cumsum(np.ones(key.size) if weight is None else weight[late][order])))
    end_of_group = np.searchsorted(key, (row // scale.span + 1) * scale.span)
    return entered[end_of_group] - entered[np.searchsorted(key, row)]
