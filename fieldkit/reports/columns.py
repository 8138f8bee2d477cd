"""A programme's corals as columns: the one place where histories become arrays.

A *subject* is a tagged coral, or the corals of one genotype in a counted plot. Every subject has labels (its site, genotype …)
and gives rows: an interval in which death lies, with a weight (1 for a tagged coral).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from typing import Any, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from fieldkit.base import View
from fieldkit.protocol import Protocol
from fieldkit.register.names import folded
from fieldkit.settle.calendar import day_of
from fieldkit.settle.compare import Visit
from fieldkit.settle.counted import CountedHistory
from fieldkit.settle.counting import group_history
from fieldkit.settle.disputes import sightings, worst_and_best
from fieldkit.settle.histories import Interval, by_round, history

Treatment: TypeAlias = Literal["lost", "open"]
Answer: TypeAlias = Literal["settled", "worst", "best"]
TREATMENTS: tuple[Treatment, ...] = ("lost", "open")
ANSWERS: tuple[Answer, ...] = ("settled", "worst", "best")

LABELS = ("site", "genotype", "species", "plot", "cohort", "method")
UNKNOWN = ""
"""The label of a subject of which it is not known."""


@dataclass(frozen=True)
class Rows:
    """Intervals, one a row; all arrays of one length. `right` is `inf` where never found dead; ages in days."""

    left: NDArray[np.float64]
    right: NDArray[np.float64]
    weight: NDArray[np.float64]
    entry: NDArray[np.float64]
    """The age from which it was followed, where that is later than the planting; else 0."""
    subject: NDArray[np.int64]


@dataclass(frozen=True)
class Columns:
    """All subjects in scope, and their intervals by treatment of missing and answer to disputes."""

    labels: Mapping[str, NDArray[np.str_]]
    """Label name to the label of each subject."""
    rows: Mapping[tuple[Treatment, Answer], Rows]
    left_out: Mapping[str, int]
    """Why corals have no interval, to how many."""
    unsettled: int
    """Corals about whose state something is in dispute."""
    fates: Mapping[str, int]
    """alive, dead, missing, withdrawn, not_seen: they add up to the number planted."""


Intervals: TypeAlias = Sequence[tuple[int, int | None, int]]
"""(left, right, weight); right None: never found dead."""


@dataclass
class Subject:
    """One subject while the columns are being made."""

    labels: tuple[str, ...]
    weight: int
    fates: Mapping[str, int]
    left_out: str | None
    entry: int
    disputed: bool
    intervals: Mapping[tuple[Treatment, Answer], Intervals]


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
    named = _Labels(view)
    wanted = {LABELS.index(name): folded(label) for name, label in (where or {}).items()}
    subjects = [
        subject
        for subject in (*_tagged(view, named, as_of, rounds), *_counted(view, named, as_of))
        if all(folded(subject.labels[place]) == label for place, label in wanted.items())
    ]
    if since is not None:
        subjects = [_from(subject, since) for subject in subjects if _was_alive(subject, since)]
    return Columns(
        labels={name: np.array([subject.labels[i] for subject in subjects], dtype=np.str_) for i, name in enumerate(LABELS)},
        rows={(treatment, answer): _rows(subjects, treatment, answer) for treatment in TREATMENTS for answer in ANSWERS},
        left_out=_summed((subject.left_out, subject.weight) for subject in subjects if subject.left_out),
        unsettled=sum(subject.disputed for subject in subjects),
        fates=_summed(fate for subject in subjects if subject.left_out != "planted_later" for fate in subject.fates.items()),
    )


class _Labels:
    """The names under which figures are told."""

    def __init__(self, view: View) -> None:
        self._sites = view.things("site")
        self._plots = view.things("plot")
        self._genotypes = view.things("genotype")

    def of(
        self, plot: str | None, genotype: str | None, species: str | None, planted_on: str | None, method: str | None
    ) -> tuple[str, ...]:
        place = self._plots.get(plot or "", {})
        site = self._sites.get(place.get("site", ""), {}).get("name", UNKNOWN)
        genet = self._genotypes.get(genotype or "", {})
        called = place.get("name", UNKNOWN)
        return (
            site,
            genet.get("accession", UNKNOWN),
            genet.get("species") or species or UNKNOWN,
            f"{site} {called}".strip(),
            planted_on or UNKNOWN,
            method or UNKNOWN,
        )


def _tagged(view: View, named: _Labels, as_of: date | None, rounds: Protocol | None) -> Iterable[Subject]:
    kept = as_of is None and rounds is None
    visits = {} if kept else _visits(view, as_of)
    for row in view.rows("SELECT * FROM coral ORDER BY id"):
        labels = named.of(row["plot"], row["genotype"], row["species"], row["planted_on"], row["method"])
        if kept:
            yield _subject_as_kept(row, labels)
        else:
            yield _subject_anew(row, labels, visits.get(row["id"], ()), as_of, rounds)


def _subject_as_kept(row: Mapping[str, Any], labels: tuple[str, ...]) -> Subject:
    intervals: dict[tuple[Treatment, Answer], Intervals] = {}
    for answer in ANSWERS:
        prefix = "" if answer == "settled" else f"{answer}_"
        left = row[f"{prefix}left"]
        for treatment in TREATMENTS:
            intervals[treatment, answer] = [] if left is None else [(left, row[f"{prefix}{treatment}"], 1)]
    return Subject(labels, 1, {row["fate"]: 1}, row["left_out"], row["entry"], bool(row["disputed"]), intervals)


def _subject_anew(
    row: Mapping[str, Any], labels: tuple[str, ...], visits: Sequence[Visit], as_of: date | None, rounds: Protocol | None
) -> Subject:
    told = partial(
        history if rounds is None else partial(by_round, rounds=rounds.rounds),
        day_of(row["planted_on"]),
        withdrawn_on=day_of(row["withdrawn_on"]),
        known_from=day_of(row["known_from"]),
        as_of=as_of,
    )
    settled = told(sightings(visits))
    returned = any(finding.kind == "alive_after_dead" for finding in settled.findings)
    disputed = bool(row["disputed"]) and (returned or any(visit.is_disputed for visit in visits))
    worst, best = worst_and_best(visits, told, returned=returned) if disputed else (settled, settled)
    intervals: dict[tuple[Treatment, Answer], Intervals] = {}
    for answer, one in zip(ANSWERS, (settled, worst, best), strict=True):
        for treatment in TREATMENTS:
            interval: Interval | None = getattr(one, treatment)
            intervals[treatment, answer] = [] if interval is None else [(interval.left, interval.right, 1)]
    return Subject(labels, 1, {settled.fate: 1}, settled.left_out, settled.entry, disputed, intervals)


def _visits(view: View, as_of: date | None) -> dict[str, list[Visit]]:
    found: dict[str, list[Visit]] = defaultdict(list)
    for row in view.seen():
        said = row["said"]
        days = {state: date.fromisoformat(day) for state, day in said["days"].items()}
        if as_of is None or any(day <= as_of for day in days.values()):
            found[row["coral"]].append(Visit(row["visit"], days, {}, ()))
    return found


def _counted(view: View, named: _Labels, as_of: date | None) -> Iterable[Subject]:
    visits: dict[tuple[str, str], list[Mapping[str, Any]]] = defaultdict(list)
    for visit in view.counted_visits():
        visits[visit["unit"], visit["genotype"]].append(visit)
    for row in view.counted():
        seen = visits[row["unit"], row["genotype"]]
        planted_on = day_of(row["planted_on"])
        found = {
            "settled": group_history(planted_on, row["planted"], _numbers(seen, "numbers"), as_of),
            "worst": group_history(planted_on, row["planted"], _numbers(seen, "worst"), as_of),
            "best": group_history(planted_on, row["planted"], _numbers(seen, "best"), as_of),
        }
        labels = named.of(row["unit"], row["genotype"], None, row["planted_on"], row["method"])
        yield _counted_subject(row, labels, found, planted_on)


def _numbers(visits: Iterable[Mapping[str, Any]], answer: str) -> list[tuple[date, tuple[int, int, int]]]:
    return [
        (date.fromisoformat(visit["day"]), tuple(visit["said"][answer]))
        for visit in visits
        if visit["said"][answer] is not None
    ]


def _counted_subject(
    row: Mapping[str, Any], labels: tuple[str, ...], found: Mapping[str, CountedHistory | None], planted_on: date | None
) -> Subject:
    settled = found["settled"]
    if settled is None:
        why = "planted_later" if planted_on else "no_planting_day"
        none: dict[tuple[Treatment, Answer], Intervals] = {
            (treatment, answer): [] for treatment in TREATMENTS for answer in ANSWERS
        }
        return Subject(labels, row["planted"], {"not_seen": row["planted"]}, why, 0, False, none)
    intervals: dict[tuple[Treatment, Answer], Intervals] = {
        (treatment, answer): [(w.left, w.right, w.weight) for w in getattr(found[answer], treatment)]
        for treatment in TREATMENTS
        for answer in ANSWERS
    }
    dead = sum(w.weight for w in settled.open if w.right is not None)
    gone = sum(w.weight for w in settled.lost if w.right is not None)
    fates = {"dead": dead, "missing": gone - dead, "alive": row["planted"] - gone}
    disputed = found["worst"] != settled or found["best"] != settled
    return Subject(labels, row["planted"], fates, None, 0, disputed, intervals)


def _was_alive(subject: Subject, since: date) -> bool:
    """Whether it was planted by that day and not known to be lost by then."""
    age = _age(subject, since)
    return age is not None and age >= 0 and any(_lives_on(row, age) for row in subject.intervals["lost", "settled"])


def _age(subject: Subject, day: date) -> int | None:
    planted_on = day_of(subject.labels[LABELS.index("cohort")])
    return (day - planted_on).days if planted_on else None


def _lives_on(interval: tuple[int, int | None, int], age: int) -> bool:
    return interval[1] is None or interval[1] > age


def _from(subject: Subject, since: date) -> Subject:
    """The same corals, ages counted from that day: those found lost by then are no longer among them."""
    age = _age(subject, since) or 0
    shifted = {
        key: [
            (max(left - age, 0), None if right is None else right - age, weight)
            for left, right, weight in rows
            if _lives_on((left, right, weight), age)
        ]
        for key, rows in subject.intervals.items()
    }
    alive = sum(weight for _, _, weight in shifted["lost", "settled"])
    return Subject(
        subject.labels, alive, subject.fates, subject.left_out, max(subject.entry - age, 0), subject.disputed, shifted
    )


def _rows(subjects: Sequence[Subject], treatment: Treatment, answer: Answer) -> Rows:
    flat = [
        (left, np.inf if right is None else right, weight, subject.entry, i)
        for i, subject in enumerate(subjects)
        for left, right, weight in subject.intervals[treatment, answer]
    ]
    left, right, weight, entry, subject_ = zip(*flat, strict=True) if flat else ((), (), (), (), ())
    return Rows(
        np.array(left, dtype=np.float64),
        np.array(right, dtype=np.float64),
        np.array(weight, dtype=np.float64),
        np.array(entry, dtype=np.float64),
        np.array(subject_, dtype=np.int64),
    )


def _summed(pairs: Iterable[tuple[str, int]]) -> dict[str, int]:
    total: dict[str, int] = defaultdict(int)
    for name, number in pairs:
        total[name] += number
    return dict(sorted(total.items()))
