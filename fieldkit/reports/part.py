"""Which corals a figure counts: of each subject how many, by the very rows from which the figure comes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import TypeAlias, get_args

import numpy as np
from numpy.typing import NDArray

from fieldkit.base import View
from fieldkit.protocol import Protocol
from fieldkit.reports.causes import corals_lost_to
from fieldkit.reports.columns import in_question, with_labels
from fieldkit.reports.figures import chosen, dated
from fieldkit.reports.histories import Flags, Subjects
from fieldkit.reports.period import Column, corals_in_period
from fieldkit.reports.question import Question
from fieldkit.reports.subjects import subjects

Numbers: TypeAlias = NDArray[np.float64]

COLUMNS: tuple[Column, ...] = get_args(Column)
FIGURES = ("corals", "dead", "missing", "at_risk", "planted", "lost", "living")
"""Of those whose intervals the estimate uses: all, those found dead, missing, at risk at an age; and of those followed from
their planting on all, those lost, and the others."""


@dataclass(frozen=True)
class Part:
    """What of a question's corals is counted; nothing given: all that were planted.

    Attributes:
        fate: those of which this is known last.
        why: those left out for this reason.
        unsettled: those whose state is in dispute.
        figure: one of `FIGURES`; with `since` one of `COLUMNS`, of the period from that day to the as-of day.
        age: of those at risk, in days.
        cause: those lost to it, from planting on, missing counted as lost.
        since: without a figure those planted and not known to be lost by that day.
        beside: a label, and the value of another group: only at sites that have corals of both.
    """

    fate: str | None = None
    why: str | None = None
    unsettled: bool = False
    figure: str | None = None
    age: int = 0
    cause: str | None = None
    since: date | None = None
    beside: tuple[str, str] | None = None


def counted(view: View, found: Subjects, question: Question, rounds: Protocol | None, part: Part) -> Numbers:
    """How many of each subject's corals the figure counts, shape (subjects,).

    Args:
        found: everything there is, as of the question's day and by these rounds.
        rounds: the protocol whose rounds date deaths, where the question's estimate is "round".
    """
    its = with_labels(found.labels, question.where)
    if part.beside:
        its &= _where_both_are(found, question, part.beside)
    if part.figure in COLUMNS and part.since:
        known = subjects(view, as_of=question.as_of, rounds=rounds)
        numbers = corals_in_period(known, part.since, question.as_of or date.max, part.figure)
    elif part.cause:
        numbers = corals_lost_to(subjects(view, as_of=question.as_of, rounds=rounds), question, part.cause)
    elif part.figure == "at_risk":
        numbers = _at_risk(found, question, part.age, its)
    elif part.figure:
        numbers = _FIGURES[part.figure](found, question)
    else:
        its &= _known(found, part)
        numbers = _plain(found, question, part)
    return np.where(its, numbers, 0.0)


def _known(found: Subjects, part: Part) -> Flags:
    its = found.left_out.is_(part.why) if part.why else ~found.left_out.is_("planted_later")
    return its & in_question(found, part.since) if part.since else its


def _plain(found: Subjects, question: Question, part: Part) -> Numbers:
    if part.fate:
        return found.fates[part.fate].astype(np.float64)
    if part.unsettled:
        return found.disputed.astype(np.float64)
    corals = found.corals.astype(np.float64)
    if part.why == "known_later":  # an estimate that lets them enter late leaves none of these out
        rows = chosen(found.rows["lost", "settled"], question.estimate)
        corals -= _summed(found, rows.subject, np.where(rows.entry > 0, rows.weight, 0.0))
    return corals


def _summed(found: Subjects, subject: NDArray[np.int64], weight: Numbers) -> Numbers:
    return np.bincount(subject, weight, len(found.disputed)).astype(np.float64)


def _corals(found: Subjects, question: Question) -> Numbers:
    rows = chosen(found.rows["lost", "settled"], question.estimate)
    return _summed(found, rows.subject, rows.weight)


def _ended(found: Subjects, question: Question, treatment: str) -> Numbers:
    rows = chosen(found.rows["open" if treatment == "open" else "lost", "settled"], question.estimate)
    return _summed(found, rows.subject, np.where(np.isfinite(rows.right), rows.weight, 0.0))


def _dead(found: Subjects, question: Question) -> Numbers:
    return _ended(found, question, "open")


def _missing(found: Subjects, question: Question) -> Numbers:
    return _ended(found, question, "lost") - _ended(found, question, "open")


def _at_risk(found: Subjects, question: Question, age: float, its: Flags) -> Numbers:
    rows = chosen(found.rows["lost", "settled"], question.estimate)
    if question.estimate == "npmle":
        there = rows.right > age
    else:  # those of the first day from that age on on which one of them died or was last seen
        ends = dated(rows)
        age = ends[its[rows.subject] & (ends >= age)].min(initial=np.inf)
        there = (ends >= age) & ((rows.entry < age) | (rows.entry == 0))
    return _summed(found, rows.subject, np.where(there, rows.weight, 0.0))


def _planted(found: Subjects, _: Question) -> Numbers:
    rows = found.rows["lost", "settled"]
    return _summed(found, rows.subject, np.where(rows.entry == 0, rows.weight, 0.0))


def _lost(found: Subjects, _: Question) -> Numbers:
    rows = found.rows["lost", "settled"]
    return _summed(found, rows.subject, np.where((rows.entry == 0) & np.isfinite(rows.right), rows.weight, 0.0))


_FIGURES: Mapping[str, Callable[[Subjects, Question], Numbers]] = {
    "corals": _corals,
    "dead": _dead,
    "missing": _missing,
    "planted": _planted,
    "lost": _lost,
    "living": lambda found, question: _planted(found, question) - _lost(found, question),
}


def _where_both_are(found: Subjects, question: Question, beside: tuple[str, str]) -> Flags:
    site = found.labels.coded["site"].code
    name, other = beside
    planted = _planted(found, question) > 0
    both = np.ones(len(found.labels.coded["site"].names), dtype=np.bool_)
    for value in (question.where.get(name, ""), other):
        its = planted & with_labels(found.labels, {**question.where, name: value})
        both &= np.bincount(site[its], minlength=both.size) > 0
    return both[site]
