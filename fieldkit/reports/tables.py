"""Figures as tables for other programs: CSV as RFC 4180 writes it, formula-proof."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from fieldkit.protocol import number
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
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


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
    return isinstance(cell, str) and cell.startswith(_FORMULA) and number(cell) is None
