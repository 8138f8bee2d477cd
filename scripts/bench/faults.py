"""Breaks whatever can break while phones hand in, many times over, and counts what was lost: it must be nothing.

    python scripts/bench/faults.py [--runs N] [--seed S] [--folder DIR]

Each run: a server over TLS in a process of its own, a phone that hands in a session with photos, and one fault at a random
byte: the server killed (SIGKILL), the connection cut either way, the disk full (SQLite's max_page_count), a file that may
not grow (RLIMIT_FSIZE), a COMMIT that fails, a torn carry file, or none. Then the server is started anew: all that was
acknowledged must be there, offsets of photos that were promised included, and a hand-in without faults must bring the rest.
After every few runs the base is proved (`fieldkit check`) and meets another base over TLS: both must be the same, byte for
byte.

Prints what was tried and found. Exit 1 if anything was lost.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from random import Random
from shutil import rmtree
from tempfile import mkdtemp
from time import perf_counter

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.faults.harness import Tally, Trial, torn

ROUNDS_OF_A_BASE = 8
TORN_OF_A_BASE = 2


def main() -> None:
    parser = argparse.ArgumentParser(description="Breaks what can break while phones hand in, and counts what was lost.")
    parser.add_argument("--runs", type=int, default=100)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folder", type=Path, help="where to work; a temporary folder where absent")
    options = parser.parse_args()
    tally, began, seed = Tally(), perf_counter(), options.seed
    while tally.runs < options.runs:
        folder = Path(mkdtemp(prefix="faults-", dir=options.folder))
        try:
            many(folder, Random(seed), tally, options.runs)
        except BaseException:
            print(f"this went wrong with seed {seed}, in {folder}", flush=True)
            raise
        rmtree(folder)
        seed += 1
        tell(tally, perf_counter() - began)
    sys.exit(1 if tally.lost or tally.differing else 0)


def many(folder: Path, dice: Random, tally: Tally, most: int) -> None:
    """The runs of one base."""
    trial = Trial(folder, dice)
    for _ in range(min(ROUNDS_OF_A_BASE, most - tally.runs)):
        trial.round(tally)
    trial.end(tally)
    for i in range(min(TORN_OF_A_BASE, most - tally.runs)):
        (folder / str(i)).mkdir()
        torn(folder / str(i), dice, tally)


def tell(tally: Tally, seconds: float) -> None:
    kinds = ", ".join(f"{name} {n}" for name, n in sorted(tally.faults.items()))
    print(
        f"{tally.runs} runs in {seconds:.0f} s ({kinds}; {tally.broke_off} hand-ins broke off): lost {tally.lost},"
        f" pairs of bases that differ {tally.differing}; entries acknowledged, summed over the runs, {tally.acknowledged:,},"
        f" photos {tally.photos:,}",
        flush=True,
    )


if __name__ == "__main__":
    main()
