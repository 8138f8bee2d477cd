"""Figures as tables for other programs: CSV as RFC 4180 writes it, formula-proof."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from fieldkit.protocol import number
from fieldkit.reports.behind import Listed
from fieldkit.reports.columns import LABELS
from fieldkit.reports.survival import as_known

COLUMNS = (
    "corals",
    "plots",
    "deaths",
    "missing",
    "treatment",
    "age_days",
    "known_age_days",
    "survival",
    "lower",
    "upper",
    "at_risk",
    "worst",
    "best",
)


# What a spreadsheet program takes for the beginning of a formula, full width too (OWASP, CSV injection; from memory).
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def survival_csv(found: dict[str, Any]) -> str:
    """An answer about survival, one row for each group, treatment of missing and age. Empty cells are undefined figures."""
    return written([*found["by"], *COLUMNS], _survival_rows(found))


def _survival_rows(found: dict[str, Any]) -> Iterator[list[Any]]:
    for group in as_known(found)["groups"]:
        counts = [group[name] for name in ("corals", "plots", "deaths", "missing")]
        for treatment in ("missing_lost", "missing_open"):
            for at in group[treatment]["at"]:
                figures = [at[name] for name in ("age", "known_age", "survival", "lower", "upper", "at_risk")]
                yield [*group["group"].values(), *counts, treatment, *figures, *at["range"]]


_PLACE = ("rank", "set", "corals", "plots", "sites", "lost", "due", "ratio", "lower", "upper", "marks")
_OF_BOTH = ("corals", "plots", "lost")
_OF_A_PAIR = ("ratio", "lower", "upper", "p_value", "p_adjusted", "verdict")
_COUNTED = ("at_start", "alive", "dead", "missing", "withdrawn", "not_seen", "joined")
_OF_ALL = ("survival", "unknown", "independent")
_NEED = (
    "corals",
    "plots",
    "per_plot",
    "design_effect",
    "worth",
    "need_corals",
    "need_plots",
    "more_corals",
    "more_plots",
)
_TREATMENTS = ("missing_lost", "missing_open")


def ranking_csv(found: dict[str, Any]) -> str:
    """The places of a ranking, one row for each group and treatment of missing; several sites or marks with semicolons."""
    rows = (
        [place["label"], treatment, *(_joined(place[name]) for name in _PLACE)]
        for treatment in _TREATMENTS
        for place in found[treatment]["places"]
    )
    return written([found["by"], "treatment", *_PLACE], rows)


def pairs_csv(found: dict[str, Any]) -> str:
    """The pairs of a ranking, one row for each pair and treatment of missing."""
    rows = (
        [
            *pair["of"],
            treatment,
            _joined(pair["sites"]),
            *(n for name in _OF_BOTH for n in pair[name]),
            *_values(pair, _OF_A_PAIR),
        ]
        for treatment in _TREATMENTS
        for pair in found[treatment]["pairs"]
    )
    of_both = [f"{name}_{which}" for name in _OF_BOTH for which in ("one", "other")]
    return written(["one", "other", "treatment", "sites", *of_both, *_OF_A_PAIR], rows)


def causes_csv(found: dict[str, Any]) -> str:
    """The shares lost to each cause, one row for each group, treatment of missing, age and cause."""
    rows = (
        [*group["group"].values(), group["corals"], group["plots"], treatment, *_values(at, ("age", "at_risk", "survival")),
         cause, *_values(share, ("share", "lower", "upper"))]
        for group in found["groups"]
        for treatment in _TREATMENTS
        for at in group[treatment]["at"]
        for cause, share in at["causes"].items()
    )  # fmt: skip
    header = ["corals", "plots", "treatment", "age_days", "at_risk", "survival", "cause", "share", "lower", "upper"]
    return written([*found["by"], *header], rows)


def period_csv(found: dict[str, Any]) -> str:
    """The counts of a period, one row for each group."""
    groups = found["groups"] if found["by"] else [{"group": {}, **found["total"]}]
    rows = ([*group["group"].values(), found["start"], found["end"], *_values(group, _COUNTED)] for group in groups)
    return written([*found["by"], "start", "end", *_COUNTED], rows)


def effort_csv(found: dict[str, Any]) -> str:
    """What each group has and needs, one row for each group and treatment of missing."""
    asked = ("age", "difference", "power", "level")
    rows = (
        [*need["group"].values(), treatment, *_values(found, asked), *_values(found[treatment], _OF_ALL),
         found[treatment]["correlation"]["icc"], *_values(need, _NEED)]
        for treatment in _TREATMENTS
        for need in found[treatment]["groups"]
    )  # fmt: skip
    return written([*found["by"], "treatment", "age_days", *asked[1:], *_OF_ALL, "icc", *_NEED], rows)


_BEHIND = ("corals", "fate", "entry", "alive", "lost", "dead", "left_out")


def behind_csv(found: Listed) -> str:
    """The corals behind a figure, a row each; ages in days."""
    rows = (
        [row.coral, row.tag, row.position, *row.labels.values(), *(getattr(row, name) for name in _BEHIND), int(row.disputed)]
        for row in found.rows
    )
    return written(["coral", "tag", "position", *LABELS, *_BEHIND, "disputed"], rows)


def _values(of: Mapping[str, Any], names: Iterable[str]) -> list[Any]:
    return [of[name] for name in names]


def _joined(value: Any) -> Any:
    return "; ".join(value) if isinstance(value, list) else value


def written(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """A table as RFC 4180 has it: CRLF after every line, quotes where a cell needs them; None is an empty cell."""
    out = io.StringIO()
    csv.writer(out).writerows([safe(header), *map(safe, rows)])
    return out.getvalue()


def safe(cells: Iterable[Any]) -> list[Any]:
    """Cells that no spreadsheet program takes for a formula: a text that begins like one is given an apostrophe.

    A number is no formula, though it be negative or written as text.
    """
    return [f"'{cell}" if _is_like_a_formula(cell) else cell for cell in cells]


def _is_like_a_formula(cell: Any) -> bool:
    return isinstance(cell, str) and cell.startswith(FORMULA) and number(cell) is None
