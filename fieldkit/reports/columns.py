"""A programme's corals as columns: the one place where histories become the arrays that figures are made of."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from fieldkit.base import View
from fieldkit.protocol import Protocol
from fieldkit.register.names import folded
from fieldkit.reports.histories import (
    ANSWERS,
    EVERY,
    FATES,
    LABELS,
    TREATMENTS,
    UNKNOWN,
    WHYS,
    Answer,
    Coded,
    Counts,
    Flags,
    Labels,
    Numbers,
    Places,
    Rows,
    Subjects,
    Treatment,
    as_kept,
    counted_groups,
    joined,
    labels_of,
    told_anew,
)

__all__ = [
    "ANSWERS",
    "LABELS",
    "TREATMENTS",
    "UNKNOWN",
    "Answer",
    "Coded",
    "Columns",
    "Rows",
    "Treatment",
    "columns",
    "distinct",
    "everything",
    "in_question",
    "known_labels",
    "labels_of",
    "ranked",
    "with_labels",
]


@dataclass(frozen=True)
class Columns:
    """All subjects in scope, and their intervals by treatment of missing and answer to disputes.

    Tagged corals come first, in order of their units and ids, then the groups of counted plots.
    """

    labels: Labels
    """Label name to the label of each subject."""
    rows: Mapping[tuple[Treatment, Answer], Rows]
    why: Coded
    """Why each subject has no interval; "known_later" have one, but enter late."""
    corals: Counts
    """Of each subject, the corals planted."""
    disputed: Counts
    """Of each subject, the corals about whose state something is in dispute."""
    fates: Mapping[str, int]
    """alive, dead, missing, withdrawn, not_seen: they add up to the number planted."""

    @property
    def left_out(self) -> Mapping[str, int]:
        """Why corals have no interval, or enter late, to how many."""
        return self.left_out_of({})

    def left_out_of(self, where: Mapping[str, str]) -> Mapping[str, int]:
        """The same of the corals with these labels."""
        its = with_labels(self.labels, where)
        return _summed((why, int(self.corals[its & self.why.is_(why)].sum())) for why in WHYS)

    @property
    def unsettled(self) -> int:
        """Corals about whose state something is in dispute."""
        return self.unsettled_of({})

    def unsettled_of(self, where: Mapping[str, str]) -> int:
        """The same of the corals with these labels."""
        return int(self.disputed[with_labels(self.labels, where)].sum())


def columns(
    view: View,
    *,
    where: Mapping[str, str] | None = None,
    as_of: date | None = None,
    since: date | None = None,
    rounds: Protocol | None = None,
) -> Columns:
    """The corals in scope, as columns.

    Args:
        where: label name to the label wanted; compared as names are (case and blanks do not matter).
        as_of: what was seen after this day is not looked at.
        since: count ages from this day, of those not known to be lost by then, instead of from the planting.
        rounds: date what was found by the rounds of this protocol.
    """
    found = everything(view, as_of, rounds)
    if where:
        found = found.chosen(with_labels(found.labels, where))
    if since is not None:
        found = _from(found.chosen(in_question(found, since)), since)
    return Columns(
        labels=found.labels,
        rows=found.rows,
        why=found.left_out,
        corals=found.corals,
        disputed=found.disputed,
        fates=_summed((fate, int(found.fates[fate][~found.left_out.is_("planted_later")].sum())) for fate in FATES),
    )


def known_labels(view: View) -> dict[str, list[str]]:
    """What corals can be chosen by: of each label its values, rising, those not known left out. Reads no history."""
    plots = view.rows("SELECT DISTINCT plot FROM coral UNION SELECT unit FROM counted")
    kinds = view.rows(
        "SELECT DISTINCT genotype, species, planted_on, method FROM coral"
        " UNION SELECT genotype, NULL, planted_on, method FROM counted"
    )
    of_kind = (Coded.of([row[name] for row in kinds]) for name in ("genotype", "species", "planted_on", "method"))
    labels = labels_of(view, Coded.of([row["plot"] for row in plots]), *of_kind)
    return {name: sorted({*labels[name].tolist()} - {UNKNOWN}) for name in LABELS}


def everything(view: View, as_of: date | None, rounds: Protocol | None) -> Subjects:
    """All subjects there are, in the order that `Columns` says."""
    tagged = as_kept(view) if as_of is None and rounds is None else told_anew(view, as_of, rounds)
    return joined(tagged, counted_groups(view, as_of))


def with_labels(labels: Labels, where: Mapping[str, str]) -> Flags:
    """Which subjects have the labels wanted; names are compared as people mean them."""
    chosen = np.ones(len(labels.coded[LABELS[0]].code), dtype=np.bool_)
    for name, wanted in where.items():
        known = labels.coded[name]
        fit = np.array([folded(label) == folded(wanted) for label in known.names.tolist()], dtype=np.bool_)
        chosen &= fit[known.code]
    return chosen


def _ages(found: Subjects, day: date) -> Numbers:
    """The age of each subject on a day; nan where its planting day is unknown."""
    cohorts = found.labels.coded["cohort"]
    planted = np.array([text or "NaT" for text in cohorts.names.tolist()], dtype="datetime64[D]")[cohorts.code]
    return np.where(np.isnat(planted), np.nan, (np.datetime64(day, "D") - planted).astype(np.float64))


def in_question(found: Subjects, since: date) -> Flags:
    """Which were planted by that day and not known to be lost by then; nobody can tell of those without a planting day."""
    rows, age = found.rows["lost", "settled"], _ages(found, since)
    lives = np.zeros(len(found.disputed), dtype=np.bool_)
    lives[rows.subject[rows.right > age[rows.subject]]] = True
    chosen: Flags = (lives & (age >= 0)) | found.left_out.is_("no_planting_day")
    return chosen


def _from(found: Subjects, since: date) -> Subjects:
    """The same corals, ages counted from that day: those found lost by then are no longer among them."""
    age = _ages(found, since)

    def later(rows: Rows) -> Rows:
        ages = age[rows.subject]
        shifted = Rows(
            np.maximum(rows.left - ages, 0), rows.right - ages, rows.weight, np.maximum(rows.entry - ages, 0), rows.subject
        )
        return shifted[rows.right > ages]

    rows = {key: later(found.rows[key]) for key in EVERY}
    entered = np.ones(len(age), dtype=np.bool_)
    entered[rows["lost", "settled"].subject[rows["lost", "settled"].entry > 0]] = False
    followed = found.left_out.is_("known_later") & entered
    return replace(found, rows=rows, left_out=found.left_out.replaced(followed, Coded.of([None] * len(age))))


def distinct(numbers: Places) -> Places:
    """The distinct numbers, rising. By sorting: what comes plot by plot is nearly in order, and hashing gains nothing."""
    rising = np.sort(numbers)
    new = np.ones(rising.size, dtype=np.bool_)
    new[1:] = rising[1:] != rising[:-1]
    return rising[new]


def ranked(numbers: Places, below: int) -> tuple[Places, Places]:
    """The distinct numbers, rising, and the place of each among them; by a table, unless that would be far the longer."""
    if below > 4 * numbers.size + 1024:
        found, place = np.unique(numbers, return_inverse=True)
        return found, place
    there = np.bincount(numbers, minlength=below) > 0
    return np.flatnonzero(there), (np.cumsum(there) - 1)[numbers]


def _summed(pairs: Iterable[tuple[str, int]]) -> dict[str, int]:
    return {name: number for name, number in pairs if number}
