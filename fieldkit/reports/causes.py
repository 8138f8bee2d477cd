"""What took the corals: of those outplanted the share lost to each cause by an age, and the share that lives.

Causes compete, and a coral is lost once: the shares of all causes and survival add up to 1. With missing counted as lost,
*missing* is a cause of its own; what was found dead without a word on why is *unknown*. Losses are dated when found (or by
round): which of several causes came first between two visits, nobody saw.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from fieldkit.base import View
from fieldkit.protocol import Protocol
from fieldkit.reports.columns import LABELS, TREATMENTS, Columns, Treatment
from fieldkit.reports.errors import QuestionError
from fieldkit.reports.question import Question
from fieldkit.reports.subjects import Flags, Lives, Numbers, Places, Subjects, subjects
from fieldkit.survival import Incidence, cumulative_incidence

MISSING = "missing"
NOT_NOTED = "unknown"


@dataclass(frozen=True)
class Share:
    """Share of the corals lost to one cause by an age, with its limits; None where undefined."""

    share: float
    lower: float | None
    upper: float | None


@dataclass(frozen=True)
class Shares:
    """What had become of the corals by an age: `survival` and the shares of all causes add up to 1."""

    age: int
    at_risk: int
    survival: float
    causes: Mapping[str, Share]


@dataclass(frozen=True)
class Lost:
    """The losses of one group, for one treatment of missing: how many to each cause in all, and the shares by age."""

    lost_to: Mapping[str, int]
    at: tuple[Shares, ...]


@dataclass(frozen=True)
class Group:
    """One group: its labels, what it is made of, and its losses with missing counted as lost and left open."""

    labels: Mapping[str, str]
    corals: int
    plots: int
    lost: Lost
    open: Lost


@dataclass(frozen=True)
class Causes:
    """The causes of all groups, and what was left out of them."""

    question: Question
    causes: tuple[str, ...]
    """All that occur: those of the protocol in the order of their frequency, then unknown, then missing."""
    left_out: Mapping[str, int]
    unsettled: int
    groups: tuple[Group, ...]

    def to_json(self) -> dict[str, Any]:
        """As JSON holds it; docs/questions.md describes it."""
        asked = self.question
        return {
            "by": list(asked.by),
            "where": dict(asked.where),
            "as_of": str(asked.as_of) if asked.as_of else None,
            "since": str(asked.since) if asked.since else None,
            "dated": "round" if asked.estimate == "round" else "found",
            "limits": asked.limits,
            "level": asked.level,
            "causes": list(self.causes),
            "left_out": dict(self.left_out),
            "unsettled": self.unsettled,
            "groups": [
                {
                    "group": dict(group.labels),
                    "corals": group.corals,
                    "plots": group.plots,
                    "missing_lost": _plain(group.lost),
                    "missing_open": _plain(group.open),
                }
                for group in self.groups
            ],
        }


def causes(view: View, question: Question, protocol: Protocol | None = None) -> Causes:
    """What took the corals, by any labels, for both treatments of missing.

    The share of a cause is the cumulative incidence (Aalen & Johansen 1978), limits are those of its complementary log-log
    scale. With limits "plots" the error is that of the sums of plots (infinitesimal jackknife) with plots - 1 degrees of
    freedom; with "greenwood" corals are taken as independent.

    Args:
        question: as for survival. The estimate "npmle" dates losses when found, as "found" does.
        protocol: its rounds date losses where the estimate is "round", and are the ages shown where the question names none.

    Raises:
        QuestionError: rounds are asked for, and there is no protocol.
    """
    if question.estimate == "round" and protocol is None:
        raise QuestionError.of("reports.no_rounds")
    known = subjects(view, as_of=question.as_of, rounds=protocol if question.estimate == "round" else None)
    lives = {treatment: _in_scope(known, treatment, question) for treatment in TREATMENTS}
    noted = _noted(known)
    names = _names(lives["lost"], noted)
    losses = {treatment: _losses(lives[treatment], noted, names) for treatment in TREATMENTS}
    return Causes(
        question,
        names,
        {**dict.fromkeys(("no_planting_day", "planted_later", "known_later"), 0), **known.found.left_out_of(question.where)},
        known.found.unsettled_of(question.where),
        tuple(_groups(known.found, losses, names, _ages(question, protocol, losses["lost"]), question)),
    )


def corals_lost_to(known: Subjects, question: Question, cause: str) -> Numbers:
    """Of each subject how many corals were lost to a cause, missing counted as lost."""
    lives, noted = _in_scope(known, "lost", question), _noted(known)
    names = _names(lives, noted)
    losses = _losses(lives, noted, names)
    its = losses.cause == (names.index(cause) + 1 if cause in names else -1)
    return np.bincount(losses.subject[its], losses.weight[its], len(known.corals)).astype(np.float64)


def _noted(known: Subjects) -> NDArray[np.str_]:
    """The cause noted of each coral."""
    return np.array([(coral or {}).get("cause") or NOT_NOTED for coral in known.corals], dtype=np.str_)


@dataclass(frozen=True, eq=False)
class _Losses:
    """One row for corals that left together: when, and to which cause (its place among the names, from 1; 0: not lost)."""

    time: Numbers
    cause: Places
    weight: Numbers
    subject: Places

    def chosen(self, these: Flags) -> _Losses:
        return _Losses(self.time[these], self.cause[these], self.weight[these], self.subject[these])


def _in_scope(known: Subjects, treatment: Treatment, question: Question) -> Lives:
    lives = known.lives(treatment, question.where)
    return (lives if question.since is None else known.since(lives, question.since)).from_planting()


def _names(lives: Lives, noted: NDArray[np.str_]) -> tuple[str, ...]:
    """All causes that occur: the most frequent first, what nobody could name last."""
    number: Counter[str] = Counter()
    for name, dead in zip(noted[lives.subject].tolist(), lives.dead.tolist(), strict=True):
        number[name] += dead
    if np.any(_missing(lives)):
        number[MISSING] += 1
    last = (NOT_NOTED, MISSING)
    named = sorted((name for name in number if number[name] and name not in last), key=lambda name: (-number[name], name))
    return (*named, *(name for name in last if number[name]))


def _missing(lives: Lives) -> Numbers:
    """Of each row the corals that were missing."""
    return np.where(np.isfinite(lives.right), lives.weight - lives.dead, 0.0)


def _losses(lives: Lives, noted: NDArray[np.str_], names: tuple[str, ...]) -> _Losses:
    place = {name: number for number, name in enumerate(names, 1)}
    died = np.array([place.get(name, 0) for name in noted[lives.subject].tolist()], dtype=np.int64)
    living = np.where(np.isfinite(lives.right), 0.0, lives.weight)
    parts = (
        (lives.left, np.zeros_like(died), living),
        (lives.right, died, lives.dead),
        (lives.right, np.full_like(died, place.get(MISSING, 0)), _missing(lives)),
    )
    time, cause, weight = (np.concatenate(column) for column in zip(*parts, strict=True))
    some = weight > 0
    return _Losses(time[some], cause[some], weight[some], np.tile(lives.subject, len(parts))[some])


def _ages(question: Question, protocol: Protocol | None, losses: _Losses) -> tuple[int, ...]:
    if question.at:
        return question.at
    last = int(losses.time.max(initial=0))
    rounds = tuple(planned.age_days for planned in protocol.rounds if 0 < planned.age_days <= last) if protocol else ()
    return rounds or ((last,) if last else ())


def _groups(
    found: Columns,
    losses: Mapping[Treatment, _Losses],
    names: tuple[str, ...],
    ages: tuple[int, ...],
    question: Question,
) -> Iterator[Group]:
    size = len(found.labels[LABELS[0]])
    labels = list(zip(*(found.labels[name].tolist() for name in question.by), strict=True)) if question.by else [()] * size
    numbered = {label: i for i, label in enumerate(sorted({labels[subject] for subject in losses["lost"].subject.tolist()}))}
    group = np.array([numbered.get(label, -1) for label in labels], dtype=np.int64)
    shares = {
        treatment: cumulative_incidence(its.time, its.cause, weight=its.weight, group=group[its.subject])
        for treatment, its in losses.items()
    }
    told: Mapping[Treatment, tuple[str, ...]] = {"lost": names, "open": tuple(name for name in names if name != MISSING)}
    for label, i in numbered.items():
        mine = {treatment: its.chosen(group[its.subject] == i) for treatment, its in losses.items()}
        lost, open_ = (
            _lost(shares[treatment][i], mine[treatment], found.labels["plot"], told[treatment], ages, question)
            for treatment in TREATMENTS
        )
        yield Group(
            dict(zip(question.by, label, strict=True)),
            round(mine["lost"].weight.sum()),
            len(set(found.labels["plot"][mine["lost"].subject].tolist())),
            lost,
            open_,
        )


def _lost(
    found: Incidence,
    losses: _Losses,
    plots: NDArray[np.str_],
    names: tuple[str, ...],
    ages: tuple[int, ...],
    question: Question,
) -> Lost:
    number = np.bincount(losses.cause, losses.weight, len(names) + 1)
    at = np.array(ages, dtype=np.float64)
    row = np.searchsorted(found.time, at, side="right")
    survival = np.concatenate(([1.0], found.survival))[row]
    at_risk = np.concatenate((found.at_risk, [0.0]))[np.searchsorted(found.time, at)]
    shares, (errors, t) = found.at(at), _errors(found, losses, plots, at, question)
    none, unknown = np.zeros(at.size), np.full(at.size, np.nan)
    told = {
        name: [_share(*one, t) for one in zip(shares.get(place, none), errors.get(place, unknown), strict=True)]
        for place, name in enumerate(names, 1)
    }
    by_age = (
        Shares(age, round(at_risk[i]), float(survival[i]), {name: its[i] for name, its in told.items()})
        for i, age in enumerate(ages)
    )
    return Lost({name: round(number[place]) for place, name in enumerate(names, 1)}, tuple(by_age))


def _share(share: float, error: float, t: float) -> Share:
    """A share with limits t errors away on the scale of log(-log share); None at 0 and 1, which have no place there."""
    if not (0 < share < 1 and math.isfinite(error) and math.isfinite(t)):
        return Share(float(share), None, None)
    turn = math.exp(t * error / (share * -math.log(share)))
    return Share(float(share), float(share**turn), float(share ** (1 / turn)))


def _errors(
    found: Incidence, losses: _Losses, plots: NDArray[np.str_], ages: Numbers, question: Question
) -> tuple[Mapping[int, Numbers], float]:
    """The standard error of each cause's share at each age, and how many of them the limits are away."""
    tail = 0.5 + question.level / 2
    if question.limits == "plots":
        distinct, plot = np.unique(plots[losses.subject], return_inverse=True)
        t = float(scipy.special.stdtrit(distinct.size - 1, tail)) if distinct.size > 1 else np.nan
        return plot_errors(losses.time, losses.cause, losses.weight, plot, ages), t
    if question.limits == "none":
        return {}, np.nan
    row = np.searchsorted(found.time, ages, side="right")
    errors = {place: np.sqrt(np.concatenate(([0.0], variance))[row]) for place, variance in found.variance.items()}
    return errors, float(scipy.special.ndtri(tail))


def plot_errors(time: Numbers, cause: Places, weight: Numbers, plot: Places, ages: Numbers) -> Mapping[int, Numbers]:
    """Standard errors of cumulative incidences that know that corals of a plot share a fate.

    How far each plot moves a share is its derivative by the plot's weight (infinitesimal jackknife); the error follows from
    the spread of these, as of a sum of independent plots.

    Args:
        time, cause, weight: as `cumulative_incidence` takes them, shape (n,).
        plot: numbers from 0, shape (n,).
        ages: at which errors are wanted, shape (k,).

    Returns:
        Cause to errors, shape (k,); nan with fewer than two plots.

    Source:
        Efron 1982, The Jackknife, the Bootstrap and Other Resampling Plans, chapter 6; Lin & Wei 1989, J. Am. Stat. Assoc.
        84:1074-1078 (summed by cluster).
    """
    days = np.unique(time[cause > 0])
    plots = int(plot.max(initial=-1)) + 1
    at_risk = _by_plot(plot, np.searchsorted(days, time, side="right"), weight, (plots, days.size + 1))
    at_risk = at_risk[:, ::-1].cumsum(axis=1)[:, ::-1][:, 1:]
    lost = {
        kind: _by_plot(plot[its], np.searchsorted(days, time[its]), weight[its], (plots, days.size))
        for kind in np.unique(cause[cause > 0]).tolist()
        for its in [cause == kind]
    }
    n, died = at_risk.sum(axis=0), sum(lost.values(), np.zeros((plots, days.size)))
    d = died.sum(axis=0)
    alive = np.concatenate(([1.0], np.cumprod(1 - d / n)))[:-1]
    # Where all die, what comes after has no share that could move.
    moved = np.divide(died - at_risk * (d / n), n - d, out=np.zeros_like(died), where=n > d)
    alive_moved = -alive * (np.cumsum(moved, axis=1) - moved)
    row = np.searchsorted(days, ages, side="right")
    errors = {}
    for kind, its in lost.items():
        hazard = its.sum(axis=0) / n
        steps = alive_moved * hazard + alive * (its - at_risk * hazard) / n
        share_moved = np.concatenate((np.zeros((plots, 1)), np.cumsum(steps, axis=1)), axis=1)[:, row]
        spread = (share_moved**2).sum(axis=0) * plots / (plots - 1) if plots > 1 else np.full(row.size, np.nan)
        errors[kind] = np.sqrt(spread)
    return errors


def _by_plot(plot: Places, day: Places, weight: Numbers, shape: tuple[int, int]) -> Numbers:
    """Corals of each plot at each place in time."""
    return np.bincount(plot * shape[1] + day, weight, shape[0] * shape[1]).reshape(shape).astype(np.float64)


def _plain(lost: Lost) -> dict[str, Any]:
    return {
        "lost_to": dict(lost.lost_to),
        "at": [
            {
                "age": at.age,
                "at_risk": at.at_risk,
                "survival": at.survival,
                "causes": {name: vars(share) for name, share in at.causes.items()},
            }
            for at in lost.at
        ],
    }
