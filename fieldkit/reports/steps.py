"""Step functions of many groups, read at ages all at once: a look at each would cost more than estimating them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Numbers = NDArray[np.float64]
Places = NDArray[np.int64]

_SPAN = float(1 << 24)
"""Ages are whole days below this (46,000 years); what is beyond, or never, counts as this."""


@dataclass(frozen=True, eq=False)
class Steps:
    """The functions, one after the other.

    Attributes:
        bounds: those of group g are at `bounds[g]:bounds[g + 1]`, shape (groups + 1,).
        age: where each step is, in whole days or inf, rising within a group, shape (steps,).
        value: what holds from there to the next step, shape (steps,).
        before: what holds before the first, shape (groups,).
        side: "right" where a value holds at the age of its step already, "left" where only past it.
    """

    bounds: Places
    age: Numbers
    value: Numbers
    before: Numbers
    side: Literal["left", "right"] = "right"

    @classmethod
    def of(cls, groups: Iterable[tuple[Numbers, Numbers]], *, side: Literal["left", "right"] = "right") -> Steps:
        """From the ages of each group's steps, and its values: the one before the first step, and those from there on."""
        ages, values = zip(*groups, strict=True)
        bounds = np.cumsum([0, *(age.size for age in ages)])
        before, after = [its[:1] for its in values], [its[1:] for its in values]
        return cls(bounds, np.concatenate(ages), np.concatenate(after), np.concatenate(before), side)

    def at(self, group: Places, age: Numbers) -> Numbers:
        """The value of each of these groups at its age."""
        place = np.searchsorted(self._key, group * _SPAN + np.minimum(age, _SPAN - 2), side=self.side)
        found: Numbers = np.array(self.before[group], dtype=np.float64)
        past = place > self.bounds[group]
        found[past] = self.value[place[past] - 1]
        return found

    @cached_property
    def _key(self) -> Numbers:
        group = np.repeat(np.arange(self.before.size, dtype=np.float64), np.diff(self.bounds))
        return group * _SPAN + np.minimum(self.age, _SPAN - 1)
