"""How many corals, in how many plots, must be tagged to tell a difference in survival apart.

Corals of a plot share a fate, so a hundred corals in few plots are worth fewer than a hundred that stand apart. How many fewer
is told by the design effect, 1 + (m - 1) x ICC, with m corals a plot and the intraclass correlation ICC of the programme's own
plots: how much more alike two corals of one plot fare than two of one site. More plots beat more corals a plot.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy

from fieldkit.base import View
from fieldkit.protocol import Protocol
from fieldkit.reports.columns import TREATMENTS, UNKNOWN, Columns, Treatment, columns
from fieldkit.reports.errors import QuestionError
from fieldkit.reports.question import Question
from fieldkit.reports.subjects import Numbers, Places
from fieldkit.survival import turnbull


@dataclass(frozen=True)
class Correlation:
    """The intraclass correlation of living or dead, of corals of one plot beside those of one site.

    Attributes:
        icc: 0 to 1; an estimate below 0 is given as 0. None where no site has two plots, or all fared alike.
        lower, upper: its limits.
        corals, plots, sites: from how many.
    """

    icc: float | None
    lower: float | None
    upper: float | None
    corals: int
    plots: int
    sites: int


@dataclass(frozen=True)
class Need:
    """What one group has, and what it must have.

    Attributes:
        corals, plots: what it has, planted and followed from then on.
        per_plot: corals a plot, as the mean coral sees it (sum of squares to sum).
        design_effect: for so many a plot; `worth` the independent corals that its corals are worth.
        need_corals, need_plots: to tell the difference apart, with as many a plot as now.
        more_corals, more_plots: what is lacking.
    """

    labels: Mapping[str, str]
    corals: int
    plots: int
    per_plot: float
    design_effect: float
    worth: float
    need_corals: int
    need_plots: int
    more_corals: int
    more_plots: int


@dataclass(frozen=True)
class Needed:
    """The effort for one treatment of missing.

    Attributes:
        survival: share alive at the age.
        unknown: corals whose state at that age is not known; they count with their chance, by the curve of their site.
        compared: the two shares that are to be told apart, half the difference above and below `survival`.
        independent: corals of either group that it takes, did they stand apart.
    """

    survival: float | None
    unknown: int
    correlation: Correlation
    compared: tuple[float, float] | None
    independent: int | None
    groups: tuple[Need, ...]


@dataclass(frozen=True)
class Effort:
    """The effort for both treatments of missing."""

    question: Question
    age_days: int
    difference: float
    power: float
    lost: Needed
    open: Needed

    def to_json(self) -> dict[str, Any]:
        """As JSON holds it; docs/questions.md describes it."""
        asked = self.question
        return {
            "by": list(asked.by),
            "where": dict(asked.where),
            "as_of": str(asked.as_of) if asked.as_of else None,
            "since": str(asked.since) if asked.since else None,
            "age": self.age_days,
            "difference": self.difference,
            "power": self.power,
            "level": asked.level,
            "missing_lost": _plain(self.lost),
            "missing_open": _plain(self.open),
        }


def effort(
    view: View,
    question: Question,
    *,
    age_days: int,
    difference: float,
    power: float = 0.8,
    protocol: Protocol | None = None,
) -> Effort:
    """How many more corals and plots each group needs for two groups to be told apart.

    The state of a coral at an age is known if it was seen alive at that age or later, or was found lost by then. Give the
    protocol: then what was seen in a round counts at the round's nominal age, and more states are known at it.

    Args:
        question: `by` names the groups (none: all corals as one); `where`, `as_of`, `since`, `level` as for survival. For p
            comparisons at once give a level of 1 - (1 - level) / p.
        age_days: > 0.
        difference: in survival at that age, between 0 and 1: 0.2 is twenty points.
        power: chance of finding it where it is there, between 0 and 1.

    Raises:
        QuestionError: a number out of its range.
    """
    for key, value, holds in (
        ("questions.not_an_age", age_days, age_days > 0),
        ("questions.not_a_difference", difference, 0 < difference < 1),
        ("questions.not_a_power", power, 0 < power < 1),
    ):
        if not holds:
            raise QuestionError.of(key, value=value)
    found = columns(view, where=question.where, as_of=question.as_of, since=question.since, rounds=protocol)
    lost, open_ = (_needed(found, question, _states(found, treatment, age_days), difference, power) for treatment in TREATMENTS)
    return Effort(question, age_days, difference, power, lost, open_)


def corals_within(half_width: float, *, share: float = 0.5, level: float = 0.95) -> float:
    """Independent corals for a survival share within plus or minus a half width, both between 0 and 1, by the normal limits.

    96.04 for ten points at 95 %, share 0.5: the most that any share takes.
    """
    return float(scipy.special.ndtri(0.5 + level / 2)) ** 2 * share * (1 - share) / half_width**2


def corals_to_tell(high: float, low: float, *, power: float = 0.8, level: float = 0.95) -> float:
    """Independent corals of either group for two survival shares to be told apart by the two-sided test of two shares.

    Args:
        high, low: the shares, 0 <= low < high <= 1.

    Source:
        Fleiss, Levin & Paik 2003, Statistical Methods for Rates and Proportions, section 4.2, without continuity correction.
    """
    mean = (high + low) / 2
    alike = float(scipy.special.ndtri(0.5 + level / 2)) * math.sqrt(2 * mean * (1 - mean))
    apart = float(scipy.special.ndtri(power)) * math.sqrt(high * (1 - high) + low * (1 - low))
    return (alike + apart) ** 2 / (high - low) ** 2


def design_effect(per_plot: float, icc: float) -> float:
    """How many times more corals it takes when so many stand in a plot and share a fate.

    Source:
        Kish 1965, Survey Sampling, section 5.4.
    """
    return 1 + (per_plot - 1) * icc


def correlation(
    alive: Numbers, corals: Numbers, site: Places, *, squares: Numbers | None = None, level: float = 0.95
) -> Correlation:
    """The intraclass correlation from sums by plot: one-way analysis of variance of plots within sites.

    Args:
        alive, corals: of each plot, shape (plots,), 0 <= alive <= corals, corals > 0.
        site: the number of each plot's site, shape (plots,). What sites differ in is not counted as plots' likeness.
        squares: where a coral is told by a chance of being alive, the sum of their squares, shape (plots,).

    Source:
        Ridout, Demétrio & Firth 1999, Biometrics 55:137-148 (the estimator for living or dead); limits by the F
        distribution, Donner & Wells 1986, Biometrics 42:401-412.
    """
    size, plots, sites = float(corals.sum()), len(corals), np.unique(site).size
    between_df, within_df = plots - sites, size - plots
    of_site = np.bincount(site, corals)
    mean = np.bincount(site, alive) / np.maximum(of_site, 1)
    share = alive / corals
    within = float(np.sum((alive if squares is None else squares) - corals * share**2))
    between = float(np.sum(corals * (share - mean[site]) ** 2))
    if between_df < 1 or within_df < 1 or within + between <= 0:
        return Correlation(None, None, None, round(size), plots, sites)
    a_plot = float(size - np.sum(corals**2 / of_site[site])) / between_df
    within, between = within / within_df, between / between_df

    def icc(by_chance: float) -> float:
        """With this much of the ratio of the two mean squares put down to chance."""
        value = (between / by_chance - within) / (between / by_chance + (a_plot - 1) * within)
        return min(max(value, 0.0), 1.0)

    tails = [float(scipy.special.fdtri(between_df, within_df, tail)) for tail in (0.5 + level / 2, 0.5 - level / 2)]
    return Correlation(icc(1.0), icc(tails[0]), icc(tails[1]), round(size), plots, sites)


@dataclass(frozen=True, eq=False)
class _States:
    """Corals at the age, one row for those of one interval.

    Attributes:
        subject: see `Rows`.
        corals: how many the row stands for.
        alive: 1 or 0; where that is not known the chance of it, by the curve of the site.
        unknown: corals of which it is not.
    """

    subject: Places
    corals: Numbers
    alive: Numbers
    unknown: int


def _states(found: Columns, treatment: Treatment, age_days: int) -> _States:
    rows = found.rows[treatment, "settled"]
    at_once = rows.entry == 0
    left, right, weight, subject = (column[at_once] for column in (rows.left, rows.right, rows.weight, rows.subject))
    alive = (left >= age_days).astype(np.float64)
    alive[right <= age_days] = 0.0
    open_ = (left < age_days) & (right > age_days)
    site = found.labels["site"][subject]
    if open_.any():
        # Left out, they would not be missed alike: a plot that was not visited lately has its dead known, not its living.
        curves = turnbull(left, right, weight=weight, group=site)
        for label in np.unique(site[open_]).tolist():
            its = open_ & (site == label)
            curve = curves[label]
            start, end = curve.at(left[its]), curve.at(right[its])
            alive[its] = (curve.at(age_days) - end) / (start - end)
    return _States(subject, weight, alive, round(weight[open_].sum()))


def _needed(found: Columns, question: Question, states: _States, difference: float, power: float) -> Needed:
    alike = _correlation(found, states, question.level)
    if not states.corals.size:
        return Needed(None, 0, alike, None, None, ())
    survival = float(states.corals @ states.alive / states.corals.sum())
    high = min(max(survival + difference / 2, difference), 1.0)  # moved inwards where half the difference reaches past 0 or 1
    low = high - difference
    independent = corals_to_tell(high, low, power=power, level=question.level)
    groups = tuple(_groups(found, question, states, alike.icc or 0.0, independent))
    return Needed(survival, states.unknown, alike, (high, low), math.ceil(independent), groups)


def _correlation(found: Columns, states: _States, level: float) -> Correlation:
    """From all plots in scope; corals without a known site tell nothing of plots within sites."""
    known = found.labels["site"][states.subject] != UNKNOWN
    _, first, plot = np.unique(found.labels["plot"][states.subject[known]], return_index=True, return_inverse=True)
    _, site = np.unique(found.labels["site"][states.subject[known]][first], return_inverse=True)
    corals, alive = states.corals[known], states.alive[known]
    sums = (np.bincount(plot, corals * value).astype(np.float64) for value in (alive, np.ones_like(alive), alive**2))
    lived, size, squares = sums
    return correlation(lived, size, site, squares=squares, level=level)


def _groups(found: Columns, question: Question, states: _States, icc: float, independent: float) -> Iterator[Need]:
    names = (found.labels[name][states.subject].tolist() for name in question.by)
    labels = list(zip(*names, strict=True)) if question.by else [()] * states.subject.size
    for label in sorted(set(labels)):
        mine = np.array([other == label for other in labels], dtype=np.bool_)
        _, plot = np.unique(found.labels["plot"][states.subject[mine]], return_inverse=True)
        in_plots = np.bincount(plot, states.corals[mine]).astype(np.float64)
        yield _need(dict(zip(question.by, label, strict=True)), in_plots, icc, independent)


def _need(labels: Mapping[str, str], in_plots: Numbers, icc: float, independent: float) -> Need:
    corals = round(in_plots.sum())
    per_plot = float(np.sum(in_plots**2) / in_plots.sum())
    effect = design_effect(per_plot, icc)
    need_corals = math.ceil(independent * effect)
    need_plots = math.ceil(need_corals / per_plot)
    return Need(
        labels,
        corals,
        in_plots.size,
        per_plot,
        effect,
        corals / effect,
        need_corals,
        need_plots,
        max(need_corals - corals, 0),
        max(need_plots - in_plots.size, 0),
    )


def _plain(needed: Needed) -> dict[str, Any]:
    groups = [{"group": dict(need.labels)} | {k: v for k, v in vars(need).items() if k != "labels"} for need in needed.groups]
    return {
        "survival": needed.survival,
        "unknown": needed.unknown,
        "correlation": vars(needed.correlation),
        "compared": list(needed.compared) if needed.compared else None,
        "independent": needed.independent,
        "groups": groups,
    }
