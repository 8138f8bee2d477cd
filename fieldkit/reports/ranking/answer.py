"""What a ranking says: of each group its place, of each pair its verdict; as values, as sentences, as JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, TypeAlias

from fieldkit.errors import Fault
from fieldkit.reports.question import Question

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


def _plain(ranked: Ranked) -> dict[str, Any]:
    return {
        "p_value": ranked.p_value,
        "luck": ranked.luck,
        "spare_plots": ranked.spare_plots,
        "places": [vars(place) | {"sites": list(place.sites), "marks": list(place.marks)} for place in ranked.places],
        "pairs": [{name: list(v) if isinstance(v, tuple) else v for name, v in vars(pair).items()} for pair in ranked.pairs],
    }
