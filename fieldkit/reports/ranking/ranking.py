"""Groups of corals ranked by their losses, site against like site, with what can and what cannot be said of each pair.

A rank is given only to what enough corals in enough plots speak for; the rest stands below, with the reason. Two figures stand
side by side, *missing counted as lost* and *missing left open*, as everywhere.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

import numpy as np
from scipy.special import chdtri

from fieldkit.base import View
from fieldkit.errors import Fault
from fieldkit.protocol import Protocol
from fieldkit.reports.columns import LABELS, TREATMENTS, UNKNOWN, Columns, Rows, Treatment, columns
from fieldkit.reports.errors import QuestionError
from fieldkit.reports.ranking.balance import Balance, balance
from fieldkit.reports.ranking.expected import Flags, Numbers, Places
from fieldkit.reports.ranking.luck import Luck, dispersion, luck, p_value
from fieldkit.reports.ranking.pairs import Pairs, pairs
from fieldkit.reports.ranking.tally import Tally, ratio, tally
from fieldkit.reports.survival import Question
from fieldkit.survival import holm

LEAST_CORALS = 10
LEAST_PLOTS = 3
"""With fewer corals or plots nothing is ranked or told apart: common practice, no source."""

Mark: TypeAlias = Literal["few_corals", "few_plots", "alone", "no_losses", "no_spare_plots"]
Verdict: TypeAlias = Literal["apart", "not_apart", "no_shared_site", "few", "no_losses", "no_spare_plots"]


@dataclass(frozen=True)
class Place:
    """One group in the ranking.

    Attributes:
        rank: from 1, the fewest losses first, within its set; None where a mark forbids it.
        set: groups that shared sites tie together, directly or through others, have one number. Across sets nothing compares.
        lost, due: losses seen, and those due had it been like the mean of its set at the same sites.
        ratio: of lost to due, with its limits; None where undefined.
        marks: why it has no rank.
    """

    label: str
    rank: int | None
    set: int
    corals: int
    plots: int
    sites: tuple[str, ...]
    lost: int
    due: float
    ratio: float | None
    lower: float | None
    upper: float | None
    marks: tuple[Mark, ...]

    def said(self) -> tuple[Fault, ...]:
        """The marks as sentences of the catalogue."""
        number = {"few_corals": self.corals, "few_plots": self.plots}
        return tuple(Fault(f"questions.mark_{mark}", {"label": self.label, "n": number.get(mark, 0)}) for mark in self.marks)


@dataclass(frozen=True)
class Pair:
    """Two groups, compared at the sites that have both.

    Attributes:
        corals, plots, lost: of either, at those sites.
        ratio: rate of loss of the first to that of the second, with its limits; None where undefined.
        p_value: chance of so great a difference if both die alike; p_adjusted for all pairs asked about together (Holm). None
            where the verdict is neither "apart" nor "not_apart".
    """

    of: tuple[str, str]
    sites: tuple[str, ...]
    corals: tuple[int, int]
    plots: tuple[int, int]
    lost: tuple[int, int]
    ratio: float | None
    lower: float | None
    upper: float | None
    p_value: float | None
    p_adjusted: float | None
    verdict: Verdict

    def said(self) -> Fault:
        """The verdict as a sentence of the catalogue."""
        first = self.of if (self.ratio or 0) >= 1 else self.of[::-1]
        data = {
            "more": first[0],
            "less": first[1],
            "one": self.of[0],
            "other": self.of[1],
            "corals": " / ".join(map(str, self.corals)),
            "plots": " / ".join(map(str, self.plots)),
            "p": "" if self.p_adjusted is None else f"{self.p_adjusted:.2g}",
        }
        return Fault(f"questions.pair_{self.verdict}", data)


@dataclass(frozen=True)
class Ranked:
    """The ranking for one treatment of missing.

    Attributes:
        places: those with a rank first, set by set, then those without.
        luck: variance of the factor by which a plot's losses differ beyond chance, sites and groups; None if unknown.
        spare_plots: degrees of freedom behind every test and limit.
        p_value: chance of groups that differ so much if all die alike at their sites; None if it cannot be told.
    """

    places: tuple[Place, ...]
    pairs: tuple[Pair, ...]
    luck: float | None
    spare_plots: int
    p_value: float | None


@dataclass(frozen=True)
class Ranking:
    """The ranking for both treatments of missing, and what was left out of it."""

    question: Question
    by: str
    left_out: Mapping[str, int]
    unsettled: int
    lost: Ranked
    open: Ranked

    def to_json(self) -> dict[str, Any]:
        """As JSON holds it; docs/questions.md describes it."""
        asked = self.question
        return {
            "by": self.by,
            "within": "site",
            "where": dict(asked.where),
            "as_of": str(asked.as_of) if asked.as_of else None,
            "since": str(asked.since) if asked.since else None,
            "estimate": asked.estimate,
            "level": asked.level,
            "left_out": dict(self.left_out),
            "unsettled": self.unsettled,
            "missing_lost": _plain(self.lost),
            "missing_open": _plain(self.open),
        }


def ranking(view: View, question: Question, protocol: Protocol | None = None) -> Ranking:
    """Rank genotypes, or what else the question names, by their losses beside others at the same sites.

    Args:
        question: `by` names one label (none: genotype) other than site and plot; `where`, `as_of`, `since` choose corals as for
            survival. With `estimate` "npmle" deaths lie between two visits; with "found" they are dated when found, which
            makes of two plots the worse one which is visited first in a round; with "round" by the rounds of `protocol`.

    Raises:
        QuestionError: `by` names more than one label, or one that lies within a site; rounds are asked for without protocol.
    """
    by = _label(question)
    if question.estimate == "round" and protocol is None:
        raise QuestionError.of("reports.no_rounds")
    found = columns(
        view,
        where=question.where,
        as_of=question.as_of,
        since=question.since,
        rounds=protocol if question.estimate == "round" else None,
    )
    named = (found.labels["site"] != UNKNOWN) & (found.labels[by] != UNKNOWN)
    lost, open_ = (_ranked(found, by, treatment, named, question) for treatment in TREATMENTS)
    return Ranking(question, by, _left_out(found, by), found.unsettled, lost, open_)


def _label(question: Question) -> str:
    if len(question.by) > 1 or question.by in (("site",), ("plot",)):
        raise QuestionError.of("questions.rank_by_one", by=", ".join(question.by), known=", ".join(_RANKABLE))
    return question.by[0] if question.by else "genotype"


_RANKABLE = tuple(name for name in LABELS if name not in ("site", "plot"))


def _left_out(found: Columns, by: str) -> dict[str, int]:
    """Why corals are not in the ranking, to how many."""
    rows = found.rows["lost", "settled"]
    left_out = Counter({"no_planting_day": 0, "planted_later": 0, "known_later": 0, "no_site": 0, f"no_{by}": 0})
    left_out.update(found.left_out)
    for name, label in (("no_site", "site"), (f"no_{by}", by)):
        left_out[name] += _whole(rows.weight[found.labels[label][rows.subject] == UNKNOWN].sum())
    return dict(left_out)


def _ranked(found: Columns, by: str, treatment: Treatment, named: Flags, asked: Question) -> Ranked:
    rows = found.rows[treatment, "settled"]
    used = named[rows.subject] & (rows.entry == 0)
    groups, group = np.unique(found.labels[by][rows.subject[used]], return_inverse=True)
    _, first, plot = np.unique(found.labels["plot"][rows.subject[used]], return_index=True, return_inverse=True)
    sites, site = np.unique(found.labels["site"][rows.subject[used]][first], return_inverse=True)
    if not groups.size:
        return Ranked((), (), None, 0, None)
    left, right = _ends(rows, used, asked)
    table = tally(left, right, rows.weight[used], group, plot, site, groups.size)
    balanced = balance(table)
    plots_luck = luck(table, balanced)
    compared = pairs(table, plots_luck, asked.level)
    return Ranked(
        tuple(_places(table, balanced, plots_luck, groups.tolist(), sites.tolist(), asked.level)),
        tuple(_pairs(compared, groups.tolist(), sites.tolist(), plots_luck, asked.level)),
        _number(plots_luck.variance),
        plots_luck.spare,
        _number(p_value(table, plots_luck)),
    )


def _ends(rows: Rows, used: Flags, asked: Question) -> tuple[Numbers, Numbers]:
    left, right = rows.left[used], rows.right[used]
    dated = asked.estimate != "npmle"
    return np.where(np.isfinite(right), right, left) if dated else left, right


def _places(table: Tally, balanced: Balance, plots: Luck, groups: list[str], sites: list[str], level: float) -> Iterator[Place]:
    lower, upper = _limits(table, balanced, plots, level)
    present = table.sites.corals > 0
    company = present & (present.sum(axis=1, keepdims=True) > 1)
    marks = [_marks(table, company, balanced, plots, i) for i in range(len(groups))]
    order = sorted(range(len(groups)), key=lambda i: (bool(marks[i]), balanced.sets[i], balanced.ratio[i], groups[i]))
    ranks = _ranks(order, marks, balanced)
    number = {of: i for i, of in enumerate(dict.fromkeys(balanced.sets[order].tolist()), 1)}
    for i in order:
        yield Place(
            groups[i],
            ranks.get(i),
            number[int(balanced.sets[i])],
            _whole(table.sites.corals[:, i].sum()),
            int(np.count_nonzero(table.plots.corals[:, i])),
            tuple(sites[j] for j in np.flatnonzero(present[:, i])),
            _whole(table.sites.lost[:, i].sum()),
            float(balanced.due[i]),
            _number(balanced.ratio[i]),
            _number(lower[i]),
            _number(upper[i]),
            marks[i],
        )


def _marks(table: Tally, company: Flags, balanced: Balance, plots: Luck, i: int) -> tuple[Mark, ...]:
    """Why a group is not ranked. Only what stands beside others at its sites speaks for it."""
    beside = company[:, i]
    corals = table.sites.corals[beside, i].sum()
    in_plots = int(np.count_nonzero(table.plots.corals[beside[table.site], i]))
    found: dict[Mark, bool] = {
        "alone": not beside.any(),
        "few_corals": bool(corals < LEAST_CORALS),
        "few_plots": in_plots < LEAST_PLOTS,
        "no_losses": bool(np.isnan(balanced.ratio[i])),
        "no_spare_plots": math.isnan(plots.variance),
    }
    if found["alone"]:
        return ("alone",)
    return tuple(mark for mark, holds in found.items() if holds)


def _ranks(order: list[int], marks: list[tuple[Mark, ...]], balanced: Balance) -> dict[int, int]:
    """Ranks within each set; equal ratios have one rank."""
    ranks: dict[int, int] = {}
    for number in np.unique(balanced.sets).tolist():
        its = [i for i in order if balanced.sets[i] == number and not marks[i]]
        ratios = [float(balanced.ratio[i]) for i in its]
        ranks |= {i: 1 + sum(other < mine for other in ratios) for i, mine in zip(its, ratios, strict=True)}
    return ranks


def _limits(table: Tally, balanced: Balance, plots: Luck, level: float) -> tuple[Numbers, Numbers]:
    """Limits of each ratio: of a Poisson mean, from as many losses as have the same relative error when independent.

    Source:
        Garwood 1936, Biometrika 28:437-442.
    """
    worth = dispersion(table, plots)
    lost = table.sites.lost.sum(axis=0) / worth
    tail = (1 - level) / 2
    lower = np.where(lost > 0, chdtri(2 * np.where(lost > 0, lost, 1.0), 1 - tail) / 2, 0.0)
    upper = chdtri(2 * (lost + 1), tail) / 2
    return ratio(lower * worth, balanced.due), ratio(upper * worth, balanced.due)


def _pairs(found: Pairs, groups: list[str], sites: list[str], plots: Luck, level: float) -> Iterator[Pair]:
    asked = _enough(found) & ~np.isnan(found.p_value)
    p_values = np.where(asked, found.p_value, np.nan)
    adjusted = holm(p_values)
    for i, (one, other) in enumerate(found.groups.T.tolist()):
        yield Pair(
            (groups[one], groups[other]),
            tuple(sites[j] for j in np.flatnonzero(found.shared[:, i])),
            _both(found.corals, i),
            _both(found.plots, i),
            _both(found.lost, i),
            _number(found.ratio[i]),
            _number(found.lower[i]),
            _number(found.upper[i]),
            _number(p_values[i]),
            _number(adjusted[i]),
            _verdict(found, i, plots, float(adjusted[i]) < 1 - level),
        )


def _enough(found: Pairs) -> Flags:
    few = (found.corals < LEAST_CORALS) | (found.plots < LEAST_PLOTS)
    return np.asarray(~few.any(axis=0))


def _verdict(found: Pairs, i: int, plots: Luck, apart: bool) -> Verdict:
    if not found.shared[:, i].any():
        return "no_shared_site"
    if not _enough(found)[i]:
        return "few"
    if not found.lost[:, i].any():
        return "no_losses"
    if math.isnan(plots.variance):
        return "no_spare_plots"
    return "apart" if apart else "not_apart"


def _both(table: Numbers | Places, i: int) -> tuple[int, int]:
    return _whole(table[0, i]), _whole(table[1, i])


def _plain(ranked: Ranked) -> dict[str, Any]:
    return {
        "p_value": ranked.p_value,
        "luck": ranked.luck,
        "spare_plots": ranked.spare_plots,
        "places": [vars(place) | {"sites": list(place.sites), "marks": list(place.marks)} for place in ranked.places],
        "pairs": [{name: list(v) if isinstance(v, tuple) else v for name, v in vars(pair).items()} for pair in ranked.pairs],
    }


def _number(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _whole(value: float) -> int:
    return round(float(value))
