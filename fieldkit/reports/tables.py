"""Figures as tables for other programs: CSV as RFC 4180 writes it, formula-proof."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from typing import Any

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


def survival_csv(found: dict[str, Any]) -> str:
    """An answer about survival, one row for each group, treatment of missing and age. Empty cells are undefined figures."""
    out = io.StringIO()
    writer = csv.writer(out)  # CRLF, and quotes where needed: RFC 4180
    writer.writerow([*found["by"], *COLUMNS])
    for group in as_known(found)["groups"]:
        counts = [group[name] for name in ("corals", "plots", "deaths", "missing")]
        for treatment in ("missing_lost", "missing_open"):
            for at in group[treatment]["at"]:
                figures = [at[name] for name in ("age", "known_age", "survival", "lower", "upper", "at_risk")]
                writer.writerow(safe([*group["group"].values(), *counts, treatment, *figures, *at["range"]]))
    return out.getvalue()


def safe(cells: Iterable[Any]) -> list[Any]:
    """Cells that no spreadsheet program takes for a formula: a text that begins like one is given an apostrophe."""
    return [f"'{cell}" if isinstance(cell, str) and cell[:1] in ("=", "+", "-", "@", "\t", "\r") else cell for cell in cells]
