"""How fast corals are found among a hundred thousand, beside what SQLite alone needs for as many rows as a page shows.

    python scripts/bench/corals.py [CORALS]

Makes a base in a temporary folder by its own door, then looks for corals in the ways that the page offers. Prints milliseconds,
the median of several, and how many times as long as the reference: fifty rows by their ids.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from fieldkit.base import Base  # noqa: E402
from fieldkit.reports.corals import Wanted, coral_life, find  # noqa: E402
from tests.support.programme import Reef, base_of  # noqa: E402

PER_PLOT = 50
TIMES = 9


def main(corals: int) -> None:
    plots = {f"P{i:04d}": PER_PLOT for i in range(corals // PER_PLOT)}
    with TemporaryDirectory() as folder:
        made = Reef(plots)
        made.see(made.dive("KT", "2024-06-01"), "101", plot="P0000")
        base = base_of(Path(folder) / "base", made.entries(), [made.protocol])
        _tell(base, made)


def _tell(base: Base, made: Reef) -> None:
    with base.view() as view:
        ids = [row["id"] for row in view.rows("SELECT id FROM coral LIMIT 50")]
        reference = _milliseconds(lambda: view.corals(ids))
        print(f"{view.rows('SELECT count(*) AS n FROM coral')[0]['n']} corals; fifty rows by id: {reference:.2f} ms")
        asked = {
            "everything, page 1": lambda: find(view, Wanted()),
            "everything, last page": lambda: find(view, Wanted(), 10**6),
            "a tag": lambda: find(view, Wanted(tag="150")),
            "the beginning of a tag": lambda: find(view, Wanted(tag="15")),
            "a tag that was misread": lambda: find(view, Wanted(tag="l5O")),
            "a plot": lambda: find(view, Wanted(plot="P0007")),
            "a genotype and a fate": lambda: find(view, Wanted(genotype="G1", fate="not_seen")),
            "one life": lambda: coral_life(view, made.coral("101"), base.protocol, date(2026, 11, 30)),
        }
        for what, ask in asked.items():
            took = _milliseconds(ask)
            print(f"{what:28}{took:8.1f} ms  {took / reference:8.1f} times the reference")


def _milliseconds(ask: Callable[[], object]) -> float:
    took = []
    for _ in range(TIMES):
        start = time.perf_counter()
        ask()
        took.append(1000 * (time.perf_counter() - start))
    return median(took)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
