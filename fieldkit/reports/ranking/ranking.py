"""Groups of corals ranked by their losses, site against like site, with what can and what cannot be said of each pair.

A rank is given only to what enough corals in enough plots speak for; the rest stands below, with the reason. Two figures stand
side by side, *missing counted as lost* and *missing left open*, as everywhere.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator

import numpy as np
import scipy

from fieldkit.base import View
from fieldkit.protocol import Protocol
from fieldkit.reports.columns import LABELS, TREATMENTS, UNKNOWN, Columns, Rows, Treatment, columns
from fieldkit.reports.errors import QuestionError
from fieldkit.reports.question import Question
from fieldkit.reports.ranking.answer import Mark, Pair, Place, Ranked, Ranking, Verdict
from fieldkit.reports.ranking.balance import Balance, balance
from fieldkit.reports.ranking.expected import Flags, Numbers, Places
from fieldkit.reports.ranking.luck import Luck, dispersion, luck, p_value
from fieldkit.reports.ranking.pairs import Pairs, pairs
from fieldkit.reports.ranking.tally import Tally, ratio, tally
from fieldkit.survival import holm

LEAST_CORALS = 10
LEAST_PLOTS = 3
"""With fewer corals or plots nothing is ranked or told apart: common practice, no source."""


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
    known = np.nan_to_num(balanced.ratio, nan=np.inf)
    order = sorted(range(len(groups)), key=lambda i: (bool(marks[i]), balanced.sets[i], known[i], groups[i]))
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
    lower = np.where(lost > 0, scipy.special.chdtri(2 * np.where(lost > 0, lost, 1.0), 1 - tail) / 2, 0.0)
    upper = scipy.special.chdtri(2 * (lost + 1), tail) / 2
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


def _number(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _whole(value: float) -> int:
    return round(float(value))
