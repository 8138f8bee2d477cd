"""A period in plain counts: of the corals alive on its first day, what had become of them on its last.

What a permit's report asks for. No estimate, no assumption: every coral alive at the start is in one column, and the columns
add up. What was found lost in the period may have died a little before it; nobody was there.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal, TypeAlias

import numpy as np

from fieldkit.base import View
from fieldkit.reports.columns import LABELS
from fieldkit.reports.errors import QuestionError
from fieldkit.reports.subjects import Flags, Numbers, Places, Subjects, subjects

Column: TypeAlias = Literal["at_start", "alive", "dead", "missing", "withdrawn", "not_seen", "joined"]


@dataclass(frozen=True)
class Counts:
    """Corals of one group.

    Attributes:
        at_start: planted and followed by the first day, not known to be lost or taken away by then. By the last day they are
        alive: seen alive after the first day, and not gone since;
        dead, missing: found so;
        withdrawn: taken away alive;
        not_seen: not seen since the first day. The five add up to `at_start`.
        joined: planted, or followed for the first time, after the first day and by the last; not among the others.
    """

    labels: Mapping[str, str]
    at_start: int
    alive: int
    dead: int
    missing: int
    withdrawn: int
    not_seen: int
    joined: int


@dataclass(frozen=True)
class Period:
    """The counts of all groups between two days, and of all together."""

    start: date
    end: date
    by: tuple[str, ...]
    where: Mapping[str, str]
    left_out: Mapping[str, int]
    """Why corals cannot be counted, to how many."""
    groups: tuple[Counts, ...]
    total: Counts

    def to_json(self) -> dict[str, Any]:
        """As JSON holds it; docs/questions.md describes it."""
        return {
            "start": str(self.start),
            "end": str(self.end),
            "by": list(self.by),
            "where": dict(self.where),
            "left_out": dict(self.left_out),
            "groups": [{"group": dict(counts.labels), **_plain(counts)} for counts in self.groups],
            "total": _plain(self.total),
        }


def period(view: View, start: date, end: date, by: tuple[str, ...] = (), where: Mapping[str, str] | None = None) -> Period:
    """What became of the corals alive on one day by another; what was seen after that is not looked at.

    Args:
        start, end: the first day and the last, start before end.
        by: label names: counts for each of their values, crossed.
        where: label name to the label wanted.

    Raises:
        QuestionError: the days stand the wrong way round, or no such label is known.
    """
    for name in (*by, *(where or {})):
        if name not in LABELS:
            raise QuestionError.of("reports.no_label", name=name, known=", ".join(LABELS))
    if start >= end:
        raise QuestionError.of("questions.period_backwards", start=start, end=end)
    known = subjects(view, as_of=end)
    counts, subject = _counts(known, where or {}, start, end)
    names = [known.found.labels[name][subject].tolist() for name in by]
    labels = list(zip(*names, strict=True))
    groups = (
        _summed(dict(zip(by, label, strict=True)), counts, np.array([other == label for other in labels], dtype=np.bool_))
        for label in sorted(set(labels))
    )
    left_out = {"no_planting_day": known.found.left_out_of(where or {}).get("no_planting_day", 0)}
    everything = _summed({}, counts, np.ones(subject.size, dtype=np.bool_))
    return Period(start, end, tuple(by), dict(where or {}), left_out, tuple(groups), everything)


def corals_in_period(known: Subjects, start: date, end: date, column: str) -> Numbers:
    """Of each subject how many corals are in a column of the period.

    Args:
        known: as known on the last day.
    """
    counts, subject = _counts(known, {}, start, end)
    return np.bincount(subject, counts[column], len(known.corals)).astype(np.float64)


def _counts(known: Subjects, where: Mapping[str, str], start: date, end: date) -> tuple[dict[str, Numbers], Places]:
    """How many corals of each row are in each column, and the row's subject."""
    lives = known.lives("lost", where)
    joined = lives.chosen(lives.entry > known.ages(start)[lives.subject])
    lives = known.since(lives, start).from_planting()
    lives = lives.chosen(~known.withdrawn_by(start)[lives.subject])
    gone = np.isfinite(lives.right)
    taken = known.withdrawn_by(end)[lives.subject] & ~gone
    seen = lives.left > 0
    columns = {
        "at_start": lives.weight,
        "alive": lives.weight * (seen & ~gone & ~taken),
        "dead": np.where(gone, lives.dead, 0.0),
        "missing": np.where(gone, lives.weight - lives.dead, 0.0),
        "withdrawn": lives.weight * taken,
        "not_seen": lives.weight * ~(seen | gone | taken),
        "joined": np.zeros_like(lives.weight),
    }
    for name, column in columns.items():
        more = joined.weight if name == "joined" else np.zeros_like(joined.weight)
        columns[name] = np.concatenate((column, more))
    return columns, np.concatenate((lives.subject, joined.subject))


def _summed(labels: Mapping[str, str], counts: Mapping[str, Numbers], these: Flags) -> Counts:
    return Counts(labels, **{name: round(values[these].sum()) for name, values in counts.items()})


def _plain(counts: Counts) -> dict[str, Any]:
    return {name: value for name, value in vars(counts).items() if name != "labels"}
