"""The figures of all groups, in one pass over all: the curves of both treatments of missing, and what is read off them."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from fieldkit.reports.columns import ANSWERS, TREATMENTS, Answer, Coded, Columns, Rows, Treatment
from fieldkit.reports.histories import EVERY
from fieldkit.reports.question import Estimate, Question
from fieldkit.reports.steps import Steps
from fieldkit.survival import Curve, IntervalCurve, bootstrap_survival, distinct_intervals, kaplan_meier, turnbull

SEED = 20260101
"""Of the bootstrap, so that one question has one answer. Chosen by us."""

Numbers: TypeAlias = NDArray[np.float64]
Places: TypeAlias = NDArray[np.int64]
Figure: TypeAlias = Curve | IntervalCurve
Curves: TypeAlias = Sequence[Figure]
"""By the number of their group; those without corals are empty."""

_NONE = np.zeros(0)


def figures(
    found: Columns, group: Places, groups: int, ages: Sequence[int], windows: Mapping[int, int], question: Question
) -> dict[Treatment, list[dict[str, Any]]]:
    """Of each treatment the figures of each group, as JSON holds them.

    Args:
        group: the number of each subject's group, shape (subjects,), below `groups`.
        ages: at which figures are told, in days.
        windows: of rounds among these ages, the last age at which one takes place.
    """
    if not groups:
        return {treatment: [] for treatment in TREATMENTS}
    curves = _estimated(found, group, groups, question)
    return {treatment: _told(found, treatment, curves, group, ages, windows, question) for treatment in TREATMENTS}


def chosen(rows: Rows, estimate: Estimate) -> Rows:
    """The rows that an estimate can use: the NPMLE has no late entry, and who left on entering was never at risk."""
    if not rows.entry.any():
        return rows
    return rows[rows.entry == 0] if estimate == "npmle" else rows[(rows.entry == 0) | (rows.entry < dated(rows))]


def dated(rows: Rows) -> Numbers:
    """The age at which each death was found, or at which a coral was last seen alive."""
    return np.where(np.isfinite(rows.right), rows.right, rows.left)


def _estimated(found: Columns, group: Places, groups: int, question: Question) -> dict[tuple[Treatment, Answer], Curves]:
    """The curves as settled, and with disputes settled the worst and the best way of the groups that have any."""
    in_dispute = np.bincount(group, found.disputed, groups) > 0  # of other groups the curve is the same either way

    def rows_of(key: tuple[Treatment, Answer]) -> Rows:
        rows = chosen(found.rows[key], question.estimate)
        return rows if key[1] == "settled" else rows[in_dispute[group[rows.subject]]]

    if question.estimate == "npmle":
        return _of_intervals({key: rows_of(key) for key in EVERY}, group, groups)
    return {key: _of_days(rows_of(key), group, groups, question) for key in EVERY}


def _of_intervals(rows: Mapping[Any, Rows], group: Places, groups: int) -> dict[Any, Curves]:
    """All in one search: its rounds cost about the same for one group as for a thousand."""
    parts = []
    for number, its in enumerate(rows.values()):
        ones = its.weight.size and its.weight.min() == its.weight.max() == 1
        left, right, weight, of = distinct_intervals(
            its.left, its.right, group[its.subject], groups, None if ones else its.weight
        )
        parts.append((left, right, weight, of + number * groups))
    left, right, weight, of = (np.concatenate(column) for column in zip(*parts, strict=True))
    found = turnbull(left, right, weight=weight, group=of)
    empty = IntervalCurve(_NONE, _NONE, _NONE, np.nan, _NONE, _NONE)
    curves = [found.get(code, empty) for code in range(len(rows) * groups)]
    return {key: curves[i * groups : (i + 1) * groups] for i, key in enumerate(rows)}


def _of_days(rows: Rows, group: Places, groups: int, question: Question) -> Curves:
    found = kaplan_meier(
        dated(rows),
        np.isfinite(rows.right),
        weight=rows.weight,
        entry=rows.entry if rows.entry.any() else None,
        group=group[rows.subject],
        level=question.level,
    )
    empty = Curve(_NONE, _NONE, _NONE, _NONE, _NONE, question.level, "log-log")
    return [found.get(number, empty) for number in range(groups)]


@dataclass(frozen=True, eq=False)
class _Read:
    """What is read off the curves of all groups at any age."""

    survival: Steps
    at_risk: Steps
    ahead: tuple[Steps, Steps] | None
    """The ends of the innermost interval whose end lies ahead; None where the days of death are taken as known."""
    limits: tuple[Steps, Steps] | None
    others: tuple[Steps, Steps]
    """Survival with disputes settled the worst and the best way, of groups that have any."""

    def columns(self, group: Places, age: Numbers) -> tuple[Numbers, ...]:
        """Survival, its limits, its range and the corals at risk of each of these groups at its age."""
        survival = self.survival.at(group, age)
        # As it stands, a visit in dispute gives no state: that can lie beyond both answers.
        worst, best = (steps.at(group, age) for steps in self.others)
        low, high = np.fmin(np.fmin(survival, worst), best), np.fmax(np.fmax(survival, worst), best)
        return survival, *self.both(group, age), low, high, self.at_risk.at(group, age)

    def both(self, group: Places, age: Numbers) -> tuple[Numbers, Numbers]:
        """Lower and upper limits."""
        if self.limits is None:
            return np.full(age.size, np.nan), np.full(age.size, np.nan)
        lower, upper = self.limits
        return lower.at(group, age), upper.at(group, age)

    def known_at(self, group: Places, age: Numbers, until: Numbers) -> Numbers:
        """For each age the one at which its figure is known.

        Of a round that is the last age, by the end of its window, at which deaths were found: a round takes place some days
        around its nominal age, and counts whole. Of other ages it is the end of the innermost interval that holds them: the
        data do not tell when in it they died.
        """
        ends = replace(self.survival, value=self.survival.age, before=np.zeros_like(self.survival.before))
        known = np.maximum(age, ends.at(group, until))
        if self.ahead is None:
            return known
        left, right = (steps.at(group, age) for steps in self.ahead)
        return np.where((left < age) & (age < right) & np.isfinite(right), np.maximum(known, right), known)


def _read(curves: Curves, worst: Curves, best: Curves, limits: tuple[Steps, Steps] | None, question: Question) -> _Read:
    intervals = [curve for curve in curves if isinstance(curve, IntervalCurve)]
    days = [curve for curve in curves if isinstance(curve, Curve)]
    if days and question.limits == "greenwood":  # undefined before the first death, where nobody can have died
        limits = _greenwood(days, "lower"), _greenwood(days, "upper")
    return _Read(
        _survival(curves),
        Steps.of((curve.last_possible, _then(curve.reaching, 0.0)) for curve in intervals)
        if intervals
        # Who died on a day was at risk on it.
        else Steps.of(((curve.time, _then(curve.at_risk, 0.0)) for curve in days), side="left"),
        (_ahead(intervals, "left"), _ahead(intervals, "right")) if intervals else None,
        limits,
        (_survival(worst), _survival(best)),
    )


def _survival(curves: Curves) -> Steps:
    return Steps.of((curve.time, np.concatenate((curve.at([-1.0]), curve.survival))) for curve in curves)


def _greenwood(curves: Sequence[Curve], which: str) -> Steps:
    return Steps.of((curve.time, np.append(np.nan, getattr(curve, which))) for curve in curves)


def _ahead(curves: Sequence[IntervalCurve], which: str) -> Steps:
    return Steps.of((curve.time, _then(getattr(curve, which), np.inf)[: curve.time.size + 1]) for curve in curves)


def _then(values: Numbers, last: float) -> Numbers:
    return np.append(values, last)


def _told(
    found: Columns,
    treatment: Treatment,
    curves: Mapping[tuple[Treatment, Answer], Curves],
    group: Places,
    ages: Sequence[int],
    windows: Mapping[int, int],
    question: Question,
) -> list[dict[str, Any]]:
    own, worst, best = (curves[treatment, answer] for answer in ANSWERS)
    rows = chosen(found.rows[treatment, "settled"], question.estimate)
    last = np.zeros(len(own))
    np.maximum.at(last, group[rows.subject], dated(rows))  # the last age at which something is known
    limits = _of_plots(rows, group, found.labels.coded["plot"], own, ages, question)
    read = _read(own, worst, best, limits, question)
    lines, bounds, at = _lines(read), read.survival.bounds.tolist(), _at(read, ages, windows)
    told = (
        {
            "curve": lines[bounds[i] : bounds[i + 1]],
            "at": at[i * len(ages) : (i + 1) * len(ages)],
            **_means(curve, question.until_age or float(last[i])),
        }
        for i, curve in enumerate(own)
    )
    nothing: dict[str, Any] = {"curve": [], "at": [], "median": [None, None], "restricted_mean": None}
    return [nothing if np.isnan(alive) else figure for alive, figure in zip(read.survival.before, told, strict=True)]


def _lines(read: _Read) -> list[list[Any]]:
    """Age, survival, its limits and the corals at risk at every step of every curve."""
    steps = read.survival
    group = np.repeat(np.arange(steps.before.size), np.diff(steps.bounds))
    columns = (steps.age, steps.value, *read.both(group, steps.age), read.at_risk.at(group, steps.age))
    return [list(line) for line in zip(*map(_numbers, columns), strict=True)]


def _at(read: _Read, ages: Sequence[int], windows: Mapping[int, int]) -> list[dict[str, Any]]:
    """The figures of every group at each age asked for, and at the next age at which they are known, most often the same."""
    groups = read.survival.before.size
    group, age = np.repeat(np.arange(groups), len(ages)), np.tile(np.array(ages, dtype=np.float64), groups)
    until = np.tile(np.array([windows.get(one, one) for one in ages], dtype=np.float64), groups)
    here, later = (_figures(read, group, at) for at in (age, read.known_at(group, age, until)))
    return [{**figure, "known_at": known} for figure, known in zip(here, later, strict=True)]


def _figures(read: _Read, group: Places, age: Numbers) -> Iterator[dict[str, Any]]:
    *columns, at_risk = read.columns(group, age)
    for days, n, share, lower, upper, low, high in zip(*map(_numbers, (age, np.rint(at_risk), *columns)), strict=True):
        yield {"age": days, "survival": share, "lower": lower, "upper": upper, "at_risk": n, "range": [low, high]}


def _means(curve: Figure, until: float) -> dict[str, Any]:
    median = curve.median()
    mean = curve.restricted_mean(until) if until > 0 else None
    return {
        "median": [_number(median.low), _number(median.high)],
        "restricted_mean": mean
        and {"until": _number(float(until)), "value": _number(mean.value), "std_error": _number(mean.std_error)},
    }


def _of_plots(
    rows: Rows, group: Places, plots: Coded, curves: Curves, ages: Sequence[int], question: Question
) -> tuple[Steps, Steps] | None:
    """Limits that respect that corals of a plot share a fate. None where corals enter late: plots are drawn whole."""
    if question.limits != "plots" or not rows.left.size or rows.entry.any():
        return None
    wanted = np.unique(np.concatenate([np.array(ages, dtype=np.float64), *(curve.time for curve in curves)]))
    if not wanted.size:
        return None
    days_known = question.estimate != "npmle"
    found = bootstrap_survival(
        dated(rows) if days_known else rows.left,
        rows.right,
        plots.code[rows.subject],  # numbered as the names sort: draws go by the order of plots
        wanted,
        weight=rows.weight,
        group=group[rows.subject],
        level=question.level,
        seed=SEED,
    )
    unknown = np.full(wanted.size, np.nan)

    def limit(which: str) -> Steps:
        its = (getattr(found[i], which) if i in found else unknown for i in range(len(curves)))
        return Steps.of((wanted, np.append(np.nan, values)) for values in its)

    return limit("lower"), limit("upper")


def _numbers(values: Numbers) -> list[Any]:
    """Figures as JSON holds them: None where undefined, whole where they are whole."""
    told: list[Any] = values.tolist()
    known = np.isfinite(values)
    whole = np.flatnonzero(known & (values == np.floor(values)))
    for place, number in zip(whole.tolist(), values[whole].astype(np.int64).tolist(), strict=True):
        told[place] = number
    for place in np.flatnonzero(~known).tolist():
        told[place] = None
    return told


def _number(value: float) -> float | int | None:
    if not math.isfinite(value):
        return None
    return int(value) if value.is_integer() else value
