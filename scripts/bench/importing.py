"""How long a history of 100,000 rows takes to come in, beside a bare reading of the same file by the same libraries.

    python scripts/bench/importing.py [ROWS]

Ten sites of ten plots, ten visits a coral: tags, genotypes, days, states and sizes as a crew writes them. The import goes
by the command's own way, from bytes to the settled base; the bare reading makes lists of the cells (`csv.reader`,
openpyxl read-only) and nothing of them.
"""

from __future__ import annotations

import csv
import io
import sys
import time
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

from openpyxl import Workbook, load_workbook

from fieldkit.base import Base, import_sheets
from fieldkit.protocol import read_protocol
from fieldkit.register.sheets import Mapping
from fieldkit.shipped import SAMPLE_SURVEYS

HEAD = ("site", "plot", "tag", "genotype", "planted_on", "seen_on", "status", "size_cm", "recorder", "note")
VISITS = 10
MONITORING = SAMPLE_SURVEYS / "protocols" / "post_outplant_monitoring.toml"


def main(rows: int) -> None:
    table = history(rows)
    for name, body, bare in (("csv", as_csv(table), read_csv), ("xlsx", as_xlsx(table), read_xlsx)):
        reading, _ = timed(lambda body=body, bare=bare: bare(body))
        with TemporaryDirectory() as folder:
            base = Base.create(Path(folder) / "base", "Bench")
            base.adopt(read_protocol(MONITORING.read_bytes(), name=MONITORING.name))
            taking, taken = timed(lambda name=name, body=body, base=base: take(base, body, f"history.{name}"))
        print(
            f"{name}: {len(body) / 1024**2:.1f} MB, {taken} rows taken in {taking:.1f} s; bare reading {reading:.1f} s "
            f"({taking / reading:.1f} times)"
        )


def take(base: Base, body: bytes, file: str) -> int:
    (taken,) = import_sheets(base, body, file=file, mapping=Mapping(), today=date(2026, 1, 1))
    assert not taken.refused, taken.refused[0].text()
    return taken.rows_taken


def history(rows: int) -> list[tuple[str, ...]]:
    """Corals with ten visits each, some dead from a visit on."""
    dice = Random(7)
    planted = date(2022, 3, 1)
    found: list[tuple[str, ...]] = []
    for coral in range(rows // VISITS):
        site, plot = coral % 10, coral // 10 % 10
        dies = dice.randrange(2 * VISITS)
        for visit in range(VISITS):
            day = planted + timedelta(days=90 * (visit + 1) + site)
            state = "alive" if visit < dies else "dead"
            size = f"{5 + visit * 0.5:.1f}" if state == "alive" else ""
            known = (f"Site {site}", f"Ring {plot}", f"T{coral:05}", f"G{coral % 50}", planted.isoformat())
            found.append((*known, day.isoformat(), state, size, "KT", "pale" if coral % 7 == 0 else ""))
    return found


def as_csv(table: list[tuple[str, ...]]) -> bytes:
    out = io.StringIO()
    csv.writer(out).writerows([HEAD, *table])
    return out.getvalue().encode()


def as_xlsx(table: list[tuple[str, ...]]) -> bytes:
    """Days as days and sizes as numbers, as a spreadsheet program saves them."""
    book = Workbook(write_only=True)
    tab = book.create_sheet("History")
    tab.append(HEAD)
    for row in table:
        tab.append((*row[:4], *map(date.fromisoformat, row[4:6]), row[6], float(row[7]) if row[7] else None, *row[8:]))
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def read_csv(body: bytes) -> int:
    return len(list(csv.reader(io.StringIO(body.decode()))))


def read_xlsx(body: bytes) -> int:
    book = load_workbook(io.BytesIO(body), read_only=True, data_only=True)
    return len([[cell.value for cell in row] for row in book.worksheets[0].iter_rows()])


def timed(work: Callable[[], int]) -> tuple[float, int]:
    started = time.perf_counter()
    found = work()
    return time.perf_counter() - started, found


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
