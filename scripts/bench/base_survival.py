"""How long does a whole programme's survival take, asked of the base on disk by a process that has just begun?

    python scripts/bench/base_survival.py [--corals 1000000] [--folder DIR] [--runs 3] [--keep]

The base: 20 sites, 50 genotypes, plots of 50 corals, six rounds: at a million corals six million observations, some 13 GB and
ten minutes of a processor to make (`large_base.py` says how); it is made once in the folder and thrown away unless it is to be
kept. The question: the curves of all 1,000 pairs of site and genotype, missing counted as lost and left open, with the numbers
at risk and the figures at every round, as the page and the command ask it, without limits. Each run is a process of its own,
with the pages of the file forgotten by the system first where it can be told to. Printed: wall time and processor time, of
loading the program and of answering, and the most memory that was held. Floor, in a process of its own too: SQLite reading the
same columns of every coral's row, and nothing else.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
from pathlib import Path
from shutil import rmtree
from tempfile import gettempdir

from large_base import make

# sqlite_utils loads pandas where it finds it, as beside the witnesses of the tests; on a crew's laptop there is none.
BEFORE = """
import re, sys, time
from pathlib import Path
sys.modules["pandas"] = None
folder = Path(sys.argv[1])
started = time.perf_counter(), time.process_time()
def told(what, since):
    wall, processor = time.perf_counter() - since[0], time.process_time() - since[1]
    status = Path("/proc/self/status")  # Linux; what getrusage says there counts the parent's memory too
    held = re.search(r"VmHWM:\\s+(\\d+)", status.read_text())[1] if status.exists() else 0
    print(f"  {what:<28} {wall:6.2f} s {processor:6.2f} s cpu {int(held) / 1024:6.0f} MB")
"""

ANSWER = """
from fieldkit.base import Base
from fieldkit.reports.question import Question
from fieldkit.reports.survival import answer
told("the program is loaded", started)
loaded = time.perf_counter(), time.process_time()
ages = (30, 91, 182, 365, 548, 730)
with Base(folder).view() as view:
    found = answer(view, Question(by=("site", "genotype"), limits="none", at=ages))
told("the question is answered", loaded)
told("in all", started)
rows = sum(len(group[name]["curve"]) for group in found["groups"] for name in ("missing_lost", "missing_open"))
corals = sum(group["corals"] for group in found["groups"])
unsettled = found["unsettled"]["corals"]
print(f"  {len(found['groups']):,} groups, {corals:,} corals, {unsettled} of them in dispute, {rows:,} rows of curves")
"""

FLOOR = """
import sqlite3
columns = 'plot, genotype, planted_on, fate, entry, "left", lost, open'
with sqlite3.connect(f"file:{folder / 'fieldkit.db'}?mode=ro", uri=True) as connection:
    n = sum(1 for _ in connection.execute(f"SELECT {columns} FROM coral"))
told(f"{n:,} rows, read one by one", started)
"""


def forget(file: Path) -> str:
    """Let the system forget the pages of a file, where it can be asked to."""
    if not hasattr(os, "posix_fadvise"):
        return "pages of the file may be in memory"
    with file.open("rb") as opened:
        os.posix_fadvise(opened.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)
    return "pages of the file forgotten"


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--corals", type=int, default=1_000_000)
    options.add_argument("--folder", type=Path, default=Path(gettempdir()) / "fieldkit-bench")
    options.add_argument("--runs", type=int, default=3)
    options.add_argument("--keep", action="store_true", help="keep the base for the next time")
    given = options.parse_args()
    folder: Path = given.folder / str(given.corals)
    if not (folder / "made").exists():
        rmtree(folder, ignore_errors=True)
        make(folder, given.corals)
        (folder / "made").touch()
    print(f"{folder / 'fieldkit.db'}: {(folder / 'fieldkit.db').stat().st_size / 1e9:.1f} GB")
    for name, task in [("fieldkit", ANSWER)] * given.runs + [("floor: SQLite alone", FLOOR)]:
        print(f"{name}, {forget(folder / 'fieldkit.db')}", flush=True)
        subprocess.run([sys.executable, "-c", BEFORE + task, str(folder)], check=True)
    if not given.keep:
        rmtree(folder)


if __name__ == "__main__":
    main()
