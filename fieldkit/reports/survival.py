"""Survival figures as answers to a question: the JSON that docs/commands.md promises, for the command, the page and reports.

Two figures always stand side by side, never one alone: *missing counted as lost* and *missing left open*. Every figure also
comes with its range: what it would be if each dispute about a state were settled the worst and the best way.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from fieldkit.base import View
from fieldkit.protocol import Protocol
from fieldkit.reports.columns import LABELS, TREATMENTS, Coded, Columns, Rows, columns, labels_of, with_labels
from fieldkit.reports.errors import QuestionError
from fieldkit.survival import Curve, IntervalCurve, bootstrap_survival, kaplan_meier, turnbull

Estimate: TypeAlias = Literal["npmle", "found", "round"]
Limits: TypeAlias = Literal["plots", "greenwood", "none"]

FEW_PLOTS = 12
"""From fewer plots the limits are rough, and marked: coverage was tried down to this number (docs/survival.md)."""

SEED = 20260101
"""Of the bootstrap, so that one question has one answer. Chosen by us."""


@dataclass(frozen=True)
class Question:
    """What is asked."""

    by: tuple[str, ...] = ()
    """Label names: figures for each of their values, crossed."""
    where: Mapping[str, str] = field(default_factory=dict)
    as_of: date | None = None
    since: date | None = None
    """Count from this day, of those alive then."""
    estimate: Estimate = "npmle"
    at: tuple[int, ...] = ()
    """Ages in days; none: the rounds of the protocol."""
    limits: Limits = "plots"
    level: float = 0.95
    until_age: int | None = None
    """Of the restricted mean; None: the largest age at which something is known."""

    def __post_init__(self) -> None:
        for name in (*self.by, *self.where):
            if name not in LABELS:
                raise QuestionError.of("reports.no_label", name=name, known=", ".join(LABELS))
        if not 0 < self.level < 1:
            raise QuestionError.of("reports.no_level", value=self.level)
        if self.limits == "greenwood" and self.estimate == "npmle":
            raise QuestionError.of("reports.greenwood_needs_dates")


_NEVER = date.max
_NOTED = """
    SELECT fate.fate, coalesce(coral.plot, fate.unit) AS plot, genotype, species, planted_on, method, count(*) AS n
    FROM fate LEFT JOIN session ON session.id = fate.session LEFT JOIN coral ON coral.id = fate.coral
    WHERE fate.fate IN ('in a matter', 'practice') AND coalesce(day, '') <= ? GROUP BY 1, 2, 3, 4, 5, 6
"""  # the fates as the index says them

Numbers: TypeAlias = NDArray[np.float64]
Figure: TypeAlias = Curve | IntervalCurve


def answer(view: View, question: Question, protocol: Protocol | None = None) -> dict[str, Any]:
    """The answer, as JSON holds it: ages in days, None where a figure is undefined.

    Args:
        protocol: the programme's monitoring protocol: its rounds date deaths where `estimate` is "round", and are the ages
            shown where the question names none.

    Raises:
        QuestionError: rounds are asked for, and there is no protocol.
    """
    if question.estimate == "round" and protocol is None:
        raise QuestionError.of("reports.no_rounds")
    found = columns(
        view,
        where=question.where,
        as_of=question.as_of,
        since=question.since,
        rounds=protocol if question.estimate == "round" else None,
    )
    ages = _ages(question, protocol, found)
    noted = _noted(view, question)
    return {
        "as_of": str(question.as_of) if question.as_of else None,
        "since": str(question.since) if question.since else None,
        "by": list(question.by),
        "where": dict(question.where),
        "estimate": question.estimate,
        "limits": question.limits,
        "level": question.level,
        "left_out": {**_left_out(found, question), "practice": noted["practice"]},
        "unsettled": {"observations": noted["in a matter"], "corals": found.unsettled},
        "fates": dict(found.fates),
        "groups": _groups(found, ages, _windows(question, protocol), question),
    }


def as_known(found: Mapping[str, Any]) -> dict[str, Any]:
    """The answer as people are told it: at each age the figures of the next age at which they are known, named `known_age`."""

    def told(figures: Mapping[str, Any]) -> dict[str, Any]:
        later = [{**at["known_at"], "age": at["age"], "known_age": at["known_at"]["age"]} for at in figures["at"]]
        return {**figures, "at": later}

    treatments = [f"missing_{treatment}" for treatment in TREATMENTS]
    groups = [{**group, **{name: told(group[name]) for name in treatments}} for group in found["groups"]]
    return {**found, "groups": groups}


def _next_known(curve: Figure, ages: Numbers, windows: Mapping[int, int]) -> Numbers:
    """For each age the one at which its figure is known.

    Of a round that is the last age, within its window, at which deaths were found: a round takes place some days around its
    nominal age, and counts whole. Of other ages it is the end of the innermost interval that holds them: the data do not tell
    when in it they died.
    """
    ends = curve.right[np.isfinite(curve.right)] if isinstance(curve, IntervalCurve) else curve.time
    holding = _ends_of_intervals(curve, ages) if isinstance(curve, IntervalCurve) else ages
    found = [ends[(ends > age) & (ends <= windows.get(int(age), age))] for age in ages]
    return np.array([max(later.max(initial=age), end) for later, age, end in zip(found, ages, holding, strict=True)])


def _ends_of_intervals(curve: IntervalCurve, ages: Numbers) -> Numbers:
    if not curve.right.size:
        return ages
    place = np.minimum(np.searchsorted(curve.right, ages, side="right"), curve.right.size - 1)
    inside = (curve.left[place] < ages) & (ages < curve.right[place]) & np.isfinite(curve.right[place])
    return np.where(inside, curve.right[place], ages)


def _noted(view: View, question: Question) -> dict[str, int]:
    """How many observations in scope are in matters and how many are practice, of those made by the as-of day.

    One that is of no known coral is in scope with its plot.
    """
    rows = view.rows(_NOTED, str(question.as_of or _NEVER))
    named = (Coded.of([row[name] for row in rows]) for name in ("plot", "genotype", "species", "planted_on", "method"))
    chosen = with_labels(labels_of(view, *named), question.where)
    counts = dict.fromkeys(("in a matter", "practice"), 0)
    for row, is_in in zip(rows, chosen.tolist(), strict=True):
        counts[row["fate"]] += row["n"] if is_in else 0
    return counts


def _left_out(found: Columns, question: Question) -> dict[str, int]:
    """Why corals are in no figure, to how many. Those that enter late are in those of an estimate that lets them."""
    counts = {**dict.fromkeys(("no_planting_day", "planted_later", "known_later"), 0), **found.left_out}
    used = _chosen(found.rows["lost", "settled"], question)
    counts["known_later"] -= _whole(used.weight[used.entry > 0].sum())
    return counts


def _numbered(found: Columns, by: Sequence[str]) -> tuple[list[tuple[str, ...]], NDArray[np.int64]]:
    """The groups in order of their labels, and the number of each subject's."""
    labels = [found.labels.coded[name] for name in by]
    shape = [len(label.names) for label in labels]
    code = np.zeros(len(found.labels.coded[LABELS[0]].code), dtype=np.int64)
    for label, names in zip(labels, shape, strict=True):
        code = code * names + label.code
    distinct, group = np.unique(code, return_inverse=True)
    if not by:
        return [()] * distinct.size, group
    places = np.unravel_index(distinct, shape)
    names_of = (label.names[place].tolist() for label, place in zip(labels, places, strict=True))
    return list(zip(*names_of, strict=True)), group


def _ages(question: Question, protocol: Protocol | None, found: Columns) -> tuple[int, ...]:
    if question.at:
        return question.at
    last = _dated(found.rows["lost", "settled"]).max(initial=0)
    rounds = tuple(planned.age_days for planned in protocol.rounds if 0 < planned.age_days <= last) if protocol else ()
    return rounds or ((int(last),) if last else ())


def _windows(question: Question, protocol: Protocol | None) -> dict[int, int]:
    """Of each round's nominal age the last age of its window; none where ages do not count from the planting."""
    return {} if protocol is None or question.since else {planned.age_days: planned.late_days for planned in protocol.rounds}


def _groups(found: Columns, ages: tuple[int, ...], windows: Mapping[int, int], question: Question) -> list[dict[str, Any]]:
    labels, group = _numbered(found, question.by)
    plot = found.labels.coded["plot"]
    estimated = {
        treatment: _Estimated(found, treatment, group, len(labels), ages, windows, question) for treatment in TREATMENTS
    }
    lost, open_ = (_chosen(found.rows[treatment, "settled"], question) for treatment in TREATMENTS)
    of = group[lost.subject]
    in_plots = np.unique(of * len(plot.names) + plot.code[lost.subject]) // max(len(plot.names), 1)
    corals = np.bincount(of, lost.weight, len(labels))
    plots = np.bincount(in_plots, minlength=len(labels))
    gone, dead = (_found(rows, group, len(labels)) for rows in (lost, open_))
    return [
        {
            "group": dict(zip(question.by, label, strict=True)),
            "corals": _whole(corals[i]),
            "plots": int(plots[i]),
            "deaths": _whole(dead[i]),
            "missing": _whole(gone[i]) - _whole(dead[i]),
            **{f"missing_{treatment}": estimated[treatment].figures(i) for treatment in TREATMENTS},
        }
        for i, label in enumerate(labels)
        if plots[i]  # else all of it is left out, and counted there: a figure of no corals is none
    ]


def _chosen(rows: Rows, question: Question) -> Rows:
    """The rows that the estimate can use: the NPMLE has no late entry, and who left on entering was never at risk."""
    if question.estimate == "npmle":
        return rows[rows.entry == 0]
    return rows[(rows.entry == 0) | (rows.entry < _dated(rows))]


def _dated(rows: Rows) -> Numbers:
    """The age at which each death was found, or at which a coral was last seen alive."""
    return np.where(np.isfinite(rows.right), rows.right, rows.left)


def _found(rows: Rows, group: NDArray[np.int64], groups: int) -> Numbers:
    """How many of each group were found dead, or missing where that counts as lost."""
    found = np.isfinite(rows.right)
    return np.bincount(group[rows.subject[found]], rows.weight[found], groups).astype(np.float64)


class _Estimated:
    """The curves of one treatment of missing, all groups in one pass, with their limits and ranges."""

    def __init__(
        self,
        found: Columns,
        treatment: Any,
        group: NDArray[np.int64],
        groups: int,
        ages: tuple[int, ...],
        windows: Mapping[int, int],
        question: Question,
    ) -> None:
        self._ages = ages
        self._windows = windows
        self._question = question
        settled = _chosen(found.rows[treatment, "settled"], question)
        self._curves = _curves(settled, group, question)
        in_dispute = np.bincount(group, found.disputed, groups) > 0  # of other groups the curve is the same either way
        self._sides = [
            _curves(_chosen(rows[in_dispute[group[rows.subject]]], question), group, question)
            for rows in (found.rows[treatment, "worst"], found.rows[treatment, "best"])
        ]
        self._last = np.zeros(groups)
        np.maximum.at(self._last, group[settled.subject], _dated(settled))  # the last age at which something is known
        self._limits = _limits_of_plots(settled, group, found.labels.coded["plot"], self._curves, ages, question)

    def figures(self, group: int) -> dict[str, Any]:
        curve = self._curves.get(group)
        if curve is None:
            return {"curve": [], "at": [], "median": [None, None], "restricted_mean": None}
        limits = self._limits.get(group)
        at_risk = self._at_risk(curve, curve.time)
        columns = (curve.time, curve.survival, *self._both(curve, limits, curve.time), at_risk)
        median = curve.median()
        return {
            "curve": [list(row) for row in zip(*map(_numbers, columns), strict=True)],
            "at": self._at(group, curve, limits),
            "median": [_number(median.low), _number(median.high)],
            "restricted_mean": self._restricted_mean(group, curve),
        }

    def _at(self, group: int, curve: Figure, limits: Limit | None) -> list[dict[str, Any]]:
        """The figures at each age asked for, and at the next age at which they are known, which is most often the same."""
        ages = np.array(self._ages, dtype=np.float64)
        known = _next_known(curve, ages, self._windows)
        rows = self._figures_at(group, curve, limits, ages)
        later = rows if np.array_equal(known, ages) else self._figures_at(group, curve, limits, known)
        return [{**row, "known_at": next_} for row, next_ in zip(rows, later, strict=True)]

    def _figures_at(self, group: int, curve: Figure, limits: Limit | None, ages: Numbers) -> list[dict[str, Any]]:
        # As it stands, a visit in dispute gives no state: that can lie beyond both answers.
        sides = np.array([curve.at(ages), *(side[group].at(ages) for side in self._sides if group in side)])
        columns = (sides[0], *self._both(curve, limits, ages), sides.min(axis=0), sides.max(axis=0))
        at_risk = np.rint(self._at_risk(curve, ages))
        return [
            {"age": age, "survival": share, "lower": lower, "upper": upper, "at_risk": n, "range": [low, high]}
            for age, n, share, lower, upper, low, high in zip(*map(_numbers, (ages, at_risk, *columns)), strict=True)
        ]

    def _both(self, curve: Figure, limits: Limit | None, ages: Numbers) -> tuple[Numbers, Numbers]:
        """Lower and upper limits at these ages."""
        if limits is not None:
            return limits.at(ages)
        if isinstance(curve, Curve) and self._question.limits == "greenwood":
            figures = curve.figures(ages)
            return figures.lower, figures.upper
        nothing = np.full(len(ages), np.nan)
        return nothing, nothing

    def _at_risk(self, curve: Figure, ages: Numbers) -> Numbers:
        return curve.figures(ages).at_risk if isinstance(curve, Curve) else curve.at_risk_at(ages)

    def _restricted_mean(self, group: int, curve: Figure) -> dict[str, Any] | None:
        until = self._question.until_age or float(self._last[group])
        if until <= 0:
            return None
        mean = curve.restricted_mean(until)
        return {"until": _number(float(until)), "value": _number(mean.value), "std_error": _number(mean.std_error)}


@dataclass(frozen=True)
class Limit:
    """Limits of one group at rising ages."""

    ages: Numbers
    lower: Numbers
    upper: Numbers

    def at(self, ages: Numbers) -> tuple[Numbers, Numbers]:
        place = np.searchsorted(self.ages, ages)
        return self.lower[place], self.upper[place]


def _curves(rows: Rows, group: NDArray[np.int64], question: Question) -> Mapping[int, Figure]:
    if not rows.left.size:
        return {}
    labels = group[rows.subject]
    if question.estimate == "npmle":
        found: Mapping[Any, Figure] = turnbull(rows.left, rows.right, weight=rows.weight, group=labels)
    else:
        found = kaplan_meier(
            _dated(rows),
            np.isfinite(rows.right),
            weight=rows.weight,
            entry=rows.entry if rows.entry.any() else None,
            group=labels,
            level=question.level,
        )
    return {i: found[i] for i in np.unique(labels).tolist()}


def _limits_of_plots(
    rows: Rows,
    group: NDArray[np.int64],
    plots: Coded,
    curves: Mapping[int, Figure],
    ages: tuple[int, ...],
    question: Question,
) -> dict[int, Limit]:
    """Limits that respect that corals of a plot share a fate. None where corals enter late: plots are drawn whole."""
    if question.limits != "plots" or not rows.left.size or rows.entry.any():
        return {}
    wanted = np.unique(np.concatenate([np.array(ages, dtype=np.float64), *(curve.time for curve in curves.values())]))
    if not wanted.size:
        return {}
    dated = question.estimate != "npmle"
    found = bootstrap_survival(
        _dated(rows) if dated else rows.left,
        rows.right,
        plots.code[rows.subject],  # numbered as the names sort: draws go by the order of plots
        wanted,
        weight=rows.weight,
        group=group[rows.subject],
        level=question.level,
        seed=SEED,
    )
    return {i: Limit(wanted, found[i].lower, found[i].upper) for i in curves}


def _number(value: float) -> float | int | None:
    """A figure as JSON holds it: None where undefined, whole where it is whole."""
    if not math.isfinite(value):
        return None
    return int(value) if value.is_integer() else value


def _numbers(values: Numbers) -> list[Any]:
    """Figures as `_number` gives them; columns that are all alike, as most are, without a look at each."""
    if np.isnan(values).all():
        return [None] * len(values)
    whole = values == np.floor(values)
    if np.isfinite(values).all() and whole.all() == whole.any():
        return list(values.astype(np.int64).tolist() if whole.all() else values.tolist())
    return [_number(value) for value in values.tolist()]


def _whole(value: float) -> int:
    return round(float(value))
