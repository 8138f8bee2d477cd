"""Survival figures as answers to a question: the JSON that docs/commands.md promises, for the command, the page and reports.

Two figures always stand side by side, never one alone: *missing counted as lost* and *missing left open*. Every figure also
comes with its range: what it would be if each dispute about a state were settled the worst and the best way.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from fieldkit.base import View
from fieldkit.protocol import Protocol
from fieldkit.reports.columns import LABELS, TREATMENTS, Coded, Columns, Rows, columns, distinct, labels_of, ranked, with_labels
from fieldkit.reports.errors import QuestionError
from fieldkit.reports.figures import chosen, dated, figures
from fieldkit.reports.question import Question

FEW_PLOTS = 12
"""From fewer plots the limits are rough, and marked: coverage was tried down to this number (docs/survival.md)."""

_NEVER = date.max
_NOTED = """
    SELECT fate.fate, coalesce(coral.plot, fate.unit) AS plot, genotype, species, planted_on, method, count(*) AS n
    FROM fate LEFT JOIN session ON session.id = fate.session LEFT JOIN coral ON coral.id = fate.coral
    WHERE fate.fate IN ('in a matter', 'practice') AND coalesce(day, '') <= ? GROUP BY 1, 2, 3, 4, 5, 6
"""  # the fates as the index says them

Numbers: TypeAlias = NDArray[np.float64]


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


def _noted(view: View, question: Question) -> dict[str, int]:
    """How many observations in scope are in matters and how many are practice, of those made by the as-of day.

    One that is of no known coral is in scope with its plot.
    """
    rows = view.rows(_NOTED, str(question.as_of or _NEVER))
    named = (Coded.of([row[name] for row in rows]) for name in ("plot", "genotype", "species", "planted_on", "method"))
    scope = with_labels(labels_of(view, *named), question.where)
    counts = dict.fromkeys(("in a matter", "practice"), 0)
    for row, is_in in zip(rows, scope.tolist(), strict=True):
        counts[row["fate"]] += row["n"] if is_in else 0
    return counts


def _left_out(found: Columns, question: Question) -> dict[str, int]:
    """Why corals are in no figure, to how many. Those that enter late are in those of an estimate that lets them."""
    counts = {**dict.fromkeys(("no_planting_day", "planted_later", "known_later"), 0), **found.left_out}
    used = chosen(found.rows["lost", "settled"], question.estimate)
    counts["known_later"] -= _whole(used.weight[used.entry > 0].sum())
    return counts


def _numbered(found: Columns, by: Sequence[str]) -> tuple[list[tuple[str, ...]], NDArray[np.int64]]:
    """The groups in order of their labels, and the number of each subject's."""
    labels = [found.labels.coded[name] for name in by]
    shape = [len(label.names) for label in labels]
    code = np.zeros(len(found.labels.coded[LABELS[0]].code), dtype=np.int64)
    for label, names in zip(labels, shape, strict=True):
        code *= names
        code += label.code
    numbers, group = ranked(code, math.prod(shape))
    if not by:
        return [()] * numbers.size, group
    places = np.unravel_index(numbers, shape)
    names_of = (label.names[place].tolist() for label, place in zip(labels, places, strict=True))
    return list(zip(*names_of, strict=True)), group


def _ages(question: Question, protocol: Protocol | None, found: Columns) -> tuple[int, ...]:
    if question.at:
        return question.at
    last = dated(found.rows["lost", "settled"]).max(initial=0)
    rounds = tuple(planned.age_days for planned in protocol.rounds if 0 < planned.age_days <= last) if protocol else ()
    return rounds or ((int(last),) if last else ())


def _windows(question: Question, protocol: Protocol | None) -> dict[int, int]:
    """Of each round's nominal age the last age of its window; none where ages do not count from the planting."""
    return {} if protocol is None or question.since else {planned.age_days: planned.late_days for planned in protocol.rounds}


def _groups(found: Columns, ages: tuple[int, ...], windows: Mapping[int, int], question: Question) -> list[dict[str, Any]]:
    labels, group = _numbered(found, question.by)
    plot = found.labels.coded["plot"]
    lost, open_ = (chosen(found.rows[treatment, "settled"], question.estimate) for treatment in TREATMENTS)
    of = group[lost.subject]
    in_plots = distinct(of * len(plot.names) + plot.code[lost.subject]) // max(len(plot.names), 1)
    corals = np.bincount(of, lost.weight, len(labels))
    plots = np.bincount(in_plots, minlength=len(labels))
    gone, dead = (_found(rows, group, len(labels)) for rows in (lost, open_))
    del lost, open_, of
    told = figures(found, group, len(labels), ages, windows, question)
    return [
        {
            "group": dict(zip(question.by, label, strict=True)),
            "corals": _whole(corals[i]),
            "plots": int(plots[i]),
            "deaths": _whole(dead[i]),
            "missing": _whole(gone[i]) - _whole(dead[i]),
            **{f"missing_{treatment}": told[treatment][i] for treatment in TREATMENTS},
        }
        for i, label in enumerate(labels)
        if plots[i]  # else all of it is left out, and counted there: a figure of no corals is none
    ]


def _found(rows: Rows, group: NDArray[np.int64], groups: int) -> Numbers:
    """How many of each group were found dead, or missing where that counts as lost."""
    return np.bincount(group[rows.subject], np.where(np.isfinite(rows.right), rows.weight, 0.0), groups).astype(np.float64)


def _whole(value: float) -> int:
    return round(float(value))
