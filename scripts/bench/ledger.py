"""How fast a base takes in what was noted, beside what the disk and SQLite alone would allow.

    python scripts/bench/ledger.py [--million] [--folder DIR]

An invented programme: six sites, plots of 25 corals, each plot followed through eight rounds, one session a plot and round.
Prints seconds of wall time and of processor for

- the floor: the same rows written by sqlite3's `executemany` in batches of 500, each on the disk before the next (WAL, FULL)
- `Base.receive` of the same in the same batches; the state is up to date after each
- `Base.merge` of a carry file that holds them, and the state from nothing
- one hand-in of 500 entries, twenty plots of a new round, on a ledger of 10,000, of 100,000 and (with --million) of 1,000,000

Run it on a quiet machine; figures of one run compare with each other, not with those of another machine.
"""

from __future__ import annotations

import argparse
import sqlite3
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from datetime import date, timedelta
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp
from time import perf_counter, process_time
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[2]))

from fieldkit.base import Base
from fieldkit.base.keeping import Keeper
from fieldkit.base.state import State
from fieldkit.ledger import Entry, derived_id, mint
from fieldkit.ledger.store import Ledger
from fieldkit.protocol import read_protocol
from fieldkit.shipped import SAMPLE_SURVEYS

BATCH = 500
SITES, CORALS, ROUNDS = 6, 25, 8
A_PLOT = CORALS + 3 + ROUNDS * (CORALS + 2)
"""Entries of one plot through its life: its registration, plantings, and a session a round."""

PROTOCOL = (SAMPLE_SURVEYS / "protocols" / "post_outplant_monitoring.toml").read_bytes()
DIGEST = read_protocol(PROTOCOL, name="protocol").digest
PLANTED = date(2024, 1, 15)


class Session:
    """A session, written entry by entry."""

    def __init__(self, *named: object, **values: Any) -> None:
        self.id = derived_id("session", *map(str, named))
        self.device = derived_id("device", str(named[-1]))
        self.entries: list[Entry] = []
        self.say("session", **values)

    def say(self, kind: str, **values: Any) -> None:
        seq = len(self.entries) + 1
        self.entries.append(mint(kind, device=self.device, session=self.id, seq=seq, at=0, values=values))


def founding(plots: Sequence[int]) -> Iterator[Entry]:
    """Sites, plots and their plantings."""
    register = Session("register", role="lead")
    for site in range(SITES):
        register.say("site", site=derived_id("site", str(site)), name=f"Site {site}")
    register.say("genotype", genotype=derived_id("genotype"), accession="G1", species="Acropora sp.")
    for plot in plots:
        names = {"plot": derived_id("plot", str(plot)), "site": derived_id("site", str(plot % SITES))}
        register.say("plot", **names, name=f"P{plot}", recorded_as="tagged")
        session = Session("planting", plot, role="crew", site=names["site"], day=str(PLANTED))
        for i in range(CORALS):
            row = {"row": derived_id("coral", str(plot), str(i)), "tag": f"{plot}-{i:02}", "position": str(i)}
            session.say("planting", plot=names["plot"], genotype=derived_id("genotype"), **row)
        yield from session.entries
    yield from register.entries


def round_of(number: int, plots: Sequence[int]) -> Iterator[Entry]:
    """One round: a session a plot, six plots a day."""
    for place, plot in enumerate(plots):
        day = PLANTED + timedelta(days=91 * number + place // SITES % 60)
        head = {"site": derived_id("site", str(plot % SITES)), "day": str(day), "recorder": f"R{plot % 5}"}
        plot_id = derived_id("plot", str(plot))
        session = Session("round", number, plot, role="crew", protocol=DIGEST, **head)
        for i in range(CORALS):
            coral = derived_id("coral", str(plot), str(i))
            row = {"row": derived_id("row", str(number), coral), "plot": plot_id, "tag": f"{plot}-{i:02}"}
            alive = (i + plot) % 10 or number < 5
            seen = (
                {"status": "alive", "size_cm": f"{8 + number}.{i % 10}", "bleaching": "none"} if alive else {"status": "dead"}
            )
            session.say("observation", **row, **seen)
        session.say("close", n=len(session.entries), photos="0")
        yield from session.entries


def programme(entries: int) -> list[Entry]:
    """About so many entries, in the order in which they would have come in."""
    plots = range(max(20, entries // A_PLOT))
    found = list(founding(plots))
    for number in range(1, ROUNDS + 1):
        found += round_of(number, plots)
    return found


def next_hand_in() -> list[Entry]:
    """Twenty plots of the next round."""
    return list(round_of(ROUNDS + 1, range(20)))[:BATCH]


def timed(called: str, n: int, work: Callable[[], Any]) -> Any:
    wall, processor = perf_counter(), process_time()
    given = work()
    wall, processor = perf_counter() - wall, process_time() - processor
    print(f"{called:<58} {n:>9,} entries {wall:8.2f} s {processor:8.2f} s cpu {n / wall:>9,.0f} a second", flush=True)
    return given


def floor(path: Path, entries: Sequence[Entry]) -> None:
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("CREATE TABLE ledger (digest TEXT UNIQUE, session TEXT, seq INTEGER, kind TEXT, body BLOB)")
        for batch in batches(entries):
            connection.execute("BEGIN IMMEDIATE")
            rows = [(entry.digest, entry.session, entry.seq, entry.kind, entry.body) for entry in batch]
            connection.executemany("INSERT INTO ledger VALUES (?, ?, ?, ?, ?)", rows)
            connection.execute("COMMIT")


def batches(entries: Sequence[Entry]) -> Iterator[Sequence[Entry]]:
    for i in range(0, len(entries), BATCH):
        yield entries[i : i + BATCH]


def base_in(folder: Path) -> Base:
    base = Base.create(folder, "Bench")
    base.keep_protocol(PROTOCOL)
    return base


def receive_all(base: Base, entries: Sequence[Entry]) -> None:
    for batch in batches(entries):
        base.receive(batch, source="bench")


def from_nothing(base: Base) -> None:
    with base._database.writing() as connection:
        Keeper(Ledger(connection), State(connection), base.protocol).from_nothing()


def taking_in(folder: Path) -> None:
    entries = programme(10_000)
    timed("floor: the same rows by executemany, 500 at a time", len(entries), lambda: floor(folder / "floor.db", entries))
    base = base_in(folder / "received")
    timed("Base.receive, 500 at a time", len(entries), lambda: receive_all(base, entries))
    base.carry(folder / "carried.zip")
    other = Base.create(folder / "merged", "Bench", base.programme)
    timed("Base.merge of a carry file", len(entries), lambda: other.merge(folder / "carried.zip"))
    again = timed("the same carry file again: nothing is new", len(entries), lambda: other.merge(folder / "carried.zip"))
    assert again.new == 0


def handing_in(folder: Path, size: int) -> None:
    entries = programme(size)
    base = base_in(folder / str(size))
    timed(f"Base.receive at once, {size:,}", len(entries), lambda: base.receive(entries, source="bench"))
    if size == 100_000:
        timed("the state from nothing", len(entries), lambda: from_nothing(base))
    new = next_hand_in()
    timed(f"hand-in of {len(new)} on a ledger of {len(entries):,}", len(new), lambda: base.receive(new, source="bench"))


def main() -> None:
    parser = argparse.ArgumentParser(description="How fast a base takes in what was noted.")
    parser.add_argument("--million", action="store_true", help="also a ledger of 1,000,000 entries; some minutes and 3 GB")
    parser.add_argument("--folder", type=Path, help="where to work; a temporary folder where absent")
    options = parser.parse_args()
    folder = Path(mkdtemp(prefix="bench-", dir=options.folder))
    try:
        taking_in(folder)
        for size in (10_000, 100_000, *([1_000_000] if options.million else [])):
            handing_in(folder, size)
    finally:
        rmtree(folder)


if __name__ == "__main__":
    main()
