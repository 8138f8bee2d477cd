"""Rows of intervals, merged, and the innermost intervals that alone can hold mass.

Order of ends at one age: closed left (an exact day), right, open left; so (5, 8] and (8, 9] share no point, and [8, 8] lies
in the first. An end's code is three times its tick, plus 0, 1 or 2.

Source:
    Peto 1973, Appl. Stat. 22:86-91; Turnbull 1976, J. R. Stat. Soc. B 38:290-295.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldkit.survival.columns import Floats, Ints
from fieldkit.survival.errors import IntervalError
from fieldkit.survival.keys import collected, distinct
from fieldkit.survival.masses import Cover
from fieldkit.survival.ticks import Ticks, ticks


@dataclass(frozen=True)
class Rows:
    """Distinct (group, left, right), sorted, with the corals that share them; ends as group * span + code."""

    left: Ints
    right: Ints
    weight: Floats
    span: int
    scale: Ticks

    def only(self, its: slice) -> Rows:
        return Rows(self.left[its], self.right[its], self.weight[its], self.span, self.scale)

    def age(self, end: Ints) -> Floats:
        """The age that an end stands for; the code beyond all ticks is no end at all."""
        tick = end % self.span // 3
        endless = tick == self.scale.span
        return np.where(endless, np.inf, self.scale.time(np.where(endless, 0, tick)))


def merged_rows(left: Floats, right: Floats, code: Ints, groups: int, weight: Floats | None) -> Rows:
    """Equal rows of a group as one. A weight of 0 is no coral."""
    if weight is not None and not weight.all():
        kept = weight > 0
        left, right, code, weight = left[kept], right[kept], code[kept], weight[kept]
    finite = np.isfinite(right)
    scale = ticks(left, right[finite])
    start = scale.columns[0]
    end = np.full(right.size, scale.span, dtype=np.int64)
    end[finite] = scale.columns[1]
    span = 3 * scale.span + 3
    if groups * span**2 >= 2**63:
        raise IntervalError.of("survival.too_large", groups=groups, ages=scale.span)
    key = ((code * span) + 3 * start + 2 * (start < end)) * span + 3 * end + 1
    key, weights = collected(key, weight)
    return Rows(key // span, key // span**2 * span + key % span, weights, span, scale)


@dataclass(frozen=True)
class Innermost:
    """Innermost intervals of all groups in order, by their ends, and the rows by the nodes they lie between."""

    left: Ints
    right: Ints
    cover: Cover


def innermost(rows: Rows) -> Innermost:
    """A left end directly followed by a right end, in each group; rows that cover the same of them merged once more."""
    ends = np.concatenate((distinct(rows.left), distinct(np.sort(rows.right))))
    ends.sort()
    is_right = ends % rows.span % 3 == 1
    found = np.flatnonzero(~is_right[:-1] & is_right[1:])  # the last end of a group is a right one: no pair spans two groups
    left, right = ends[found], ends[found + 1]
    group = left // rows.span
    first_of_group = np.flatnonzero(np.diff(group, prepend=-1))
    heads = np.append(first_of_group, group.size) + np.arange(first_of_group.size + 1)
    of = np.searchsorted(group[first_of_group], rows.left // rows.span)
    first = np.searchsorted(left, rows.left) + of
    last = np.searchsorted(right, rows.right, side="right") + of
    nodes = int(heads[-1])
    key, weight = collected(first * (nodes + 1) + last, rows.weight)
    first, last = key // (nodes + 1), key % (nodes + 1)
    return Innermost(left, right, Cover(first, last, weight, np.searchsorted(heads, first, side="right") - 1, heads))
