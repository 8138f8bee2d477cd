"""The corals behind the columns, for questions that intervals alone do not answer: what took a coral, was it taken away.

`columns` names no coral. Here each of its subjects finds its coral again, and each loss is told apart into dead and missing.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fieldkit.base import View
from fieldkit.protocol import Protocol
from fieldkit.register.names import folded
from fieldkit.reports.columns import Columns, Treatment, columns

Flags = NDArray[np.bool_]
Numbers = NDArray[np.float64]
Places = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Lives:
    """Intervals as in `Rows`, one a row, all arrays of one length.

    Attributes:
        left, right, weight, entry, subject: see `Rows`.
        dead: of `weight`, how many were found dead at `right`; what else was lost there was missing.
    """

    left: Numbers
    right: Numbers
    weight: Numbers
    entry: Numbers
    subject: Places
    dead: Numbers

    def chosen(self, these: Flags) -> Lives:
        left, right, weight, entry, dead = (
            column[these] for column in (self.left, self.right, self.weight, self.entry, self.dead)
        )
        return Lives(left, right, weight, entry, self.subject[these], dead)

    def from_planting(self) -> Lives:
        """Those known from the very day that ages are counted from."""
        return self.chosen(self.entry == 0)


@dataclass(frozen=True, eq=False)
class Subjects:
    """Columns, with the coral of each subject."""

    found: Columns
    corals: tuple[Mapping[str, Any] | None, ...]
    """Rows of the coral table (id, cause, withdrawn_on, planted_on); None for the corals of a counted plot."""

    def lives(self, treatment: Treatment, where: Mapping[str, str]) -> Lives:
        """The lives of corals with these labels."""
        rows = self.found.rows[treatment, "settled"]
        lives = Lives(rows.left, rows.right, rows.weight, rows.entry, rows.subject, self._dead(treatment))
        return lives.chosen(self._with(where)[rows.subject])

    def since(self, lives: Lives, day: date) -> Lives:
        """The same lives told from a day: of corals planted and not known to be lost by then, ages from that day."""
        later = lives.chosen(self.alive_on(day)[lives.subject] & (lives.right > self.ages(day)[lives.subject]))
        age = self.ages(day)[later.subject]
        left, entry = np.maximum(later.left - age, 0), np.maximum(later.entry - age, 0)
        return Lives(left, later.right - age, later.weight, entry, later.subject, later.dead)

    def ages(self, day: date) -> Numbers:
        """The age of each subject on a day; nan where its planting day is unknown."""
        days = (np.datetime64(day, "D") - self._planted_on).astype(np.float64)
        return np.where(np.isnat(self._planted_on), np.nan, days)

    def alive_on(self, day: date) -> Flags:
        """Which subjects were planted by a day and not known to be all lost by then."""
        rows, age = self.found.rows["lost", "settled"], self.ages(day)
        some = np.zeros(len(self.corals), dtype=np.bool_)
        some[rows.subject[rows.right > age[rows.subject]]] = True
        return some & (age >= 0)

    def withdrawn_by(self, day: date) -> Flags:
        """Which corals had been taken away by a day."""
        days = [(coral or {}).get("withdrawn_on") for coral in self.corals]
        return np.array([bool(taken) and str(taken) <= str(day) for taken in days], dtype=np.bool_)

    @cached_property
    def _planted_on(self) -> NDArray[np.datetime64]:
        return np.array([day or "NaT" for day in self.found.labels["cohort"].tolist()], dtype="datetime64[D]")

    def _with(self, where: Mapping[str, str]) -> Flags:
        chosen = np.ones(len(self.corals), dtype=np.bool_)
        for name, label in where.items():
            chosen &= np.array([folded(mine) == folded(label) for mine in self.found.labels[name].tolist()], dtype=np.bool_)
        return chosen

    def _dead(self, treatment: Treatment) -> Numbers:
        """Of each row's corals those found dead at its right end.

        Left open, nothing else ends there. Counted as lost, a row of a counted plot may hold both; what the two treatments
        have in common is the day.
        """
        if treatment == "open":
            rows = self.found.rows["open", "settled"]
            return np.where(np.isfinite(rows.right), rows.weight, 0.0)
        found: dict[tuple[int, float], float] = defaultdict(float)
        rows = self.found.rows["open", "settled"]
        for subject, right, weight in zip(rows.subject.tolist(), rows.right.tolist(), self._dead("open").tolist(), strict=True):
            found[subject, right] += weight
        rows = self.found.rows["lost", "settled"]
        dead = [found[subject, right] for subject, right in zip(rows.subject.tolist(), rows.right.tolist(), strict=True)]
        return np.minimum(np.array(dead, dtype=np.float64), rows.weight)


def subjects(view: View, *, as_of: date | None = None, rounds: Protocol | None = None) -> Subjects:
    """All subjects with their corals; arguments as for `columns`."""
    found = columns(view, as_of=as_of, rounds=rounds)
    corals = view.rows("SELECT id, cause, withdrawn_on, planted_on FROM coral ORDER BY unit, id")
    days = found.labels["cohort"].tolist()
    # `columns` gives tagged corals by unit and id, then counted groups: a change there must not give wrong causes here.
    assert [coral["planted_on"] or "" for coral in corals] == days[: len(corals)]
    return Subjects(found, (*corals, *[None] * (len(days) - len(corals))))
