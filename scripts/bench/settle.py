"""How good is what fieldkit finds wrong with a boat day, and how long does it take?

    python scripts/bench/settle.py [--seeds 401 402 403] [--rates 1 3 8]

An invented programme of 600 corals in 60 plots was visited half a year ago; on one boat day six devices hand in ten plots each,
with slips whose truth is known (`settling/`): misread tags, slates typed twice among honest doubles, histories that cannot be.
Each is handed in, device by device, to a real base. Printed for each rate of misread tags, over all seeds:

    precision  of the suggested corals, how many are right; that of a tie is the first
    recall     of the misreads that became a matter, how many have the right suggestion; of all misreads beside it
    next door  of the rows that are of a coral of the plot beside, how many have the right suggestion (they count above, too)
    noticed    of all misreads, how many became a matter (the others hit a tag that hangs in the plot)
    Brier      mean square of probability minus outcome: 0 is perfect, 0.25 a coin (Brier 1950, Mon. Weather Rev. 78:1-3)
    told       mean probability of the suggestions, in bands, beside the share that was right
    slates     of those typed twice, how many became a matter; how many doubles that are not were taken for them
    cannot be  of each sort, how many of those planted became a matter of that sort about the coral, row or session; or another
    times      of the boat day, the fastest of all seeds: handed in and settled, in all and the slowest device; a page, asked of
               a server in a process of its own, the slowest of several answers

The constants of `fieldkit/settle/` were tried on seeds 1 to 9. Those below 400 were looked at while this was written.
"""

from __future__ import annotations

import argparse
import re
import subprocess
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from urllib.request import urlopen

from settling.impossible import KINDS, Planted, day_of_impossible
from settling.misreads import Misreads, day_of_misreads
from settling.programme import Programme, monitoring
from settling.typed_twice import day_typed_twice

from fieldkit.base import Base
from fieldkit.ledger import Entry
from fieldkit.protocol import Protocol
from fieldkit.reports.matters import Card, cards

BANDS = (0.35, 0.6, 0.8, 0.9, 0.95, 0.99, 1.0001)
PAGES = ("/days", "/matters", "/corals", "/agreement")
ASKED = 5


@dataclass
class Score:
    """What became of all slips of a rate."""

    misreads: int = 0
    noticed: int = 0
    astray: int = 0
    astray_found: int = 0
    told: list[tuple[float, bool]] = field(default_factory=list)
    """Probability of each suggestion, and whether it was right."""
    retyped: int = 0
    retyped_found: int = 0
    doubles_taken_for_it: int = 0
    planted: Counter[str] = field(default_factory=Counter)
    found: Counter[str] = field(default_factory=Counter)
    asked_otherwise: Counter[str] = field(default_factory=Counter)
    times: dict[str, float] = field(default_factory=dict)

    def took(self, what: str, seconds: float) -> None:
        """The fastest counts: what others do on the machine only makes it slower."""
        self.times[what] = min(self.times.get(what, seconds), seconds)

    def of_misreads(self, slipped: Misreads, found: list[Card]) -> None:
        truth = slipped.truth
        self.misreads += len(truth)
        self.astray += len(slipped.astray)
        for card in found:
            if card.matter.kind == "tag":
                self.noticed += sum(digest in truth for digest in card.matter.of)
                if suggested := card.suggestion:
                    digest = suggested.keys.get("observation", card.matter.of[0])
                    is_right = truth.get(digest) == suggested.keys["coral"]
                    self.told.append((suggested.probability or 0.0, is_right))
                    self.astray_found += is_right and digest in slipped.astray

    def of_slates(self, one_slate: set[frozenset[str]], found: list[Card]) -> None:
        asked = {frozenset(card.matter.of) for card in found if card.matter.kind == "same_slate"}
        self.retyped += len(one_slate)
        self.retyped_found += len(asked & one_slate)
        self.doubles_taken_for_it += len(asked - one_slate)

    def of_impossible(self, planted: Planted, found: list[Card]) -> None:
        kinds: dict[str, set[str]] = defaultdict(set)
        for card in found:
            for name in (*card.matter.of, *card.matter.corals):
                kinds[name].add(card.matter.kind)
        for sort, each in planted.of.items():
            for names in each:
                asked = set().union(*(kinds[name] for name in names))
                self.planted[sort] += 1
                self.found[sort] += bool(asked & KINDS[sort])
                self.asked_otherwise[sort] += bool(asked) and not asked & KINDS[sort]

    def lines(self) -> Iterator[str]:
        right = sum(one for _, one in self.told)
        brier = sum((probability - one) ** 2 for probability, one in self.told) / max(len(self.told), 1)
        precision, recall = right / max(len(self.told), 1), right / max(self.noticed, 1)
        yield (
            f"{self.misreads} misreads: noticed {self.noticed / self.misreads:.1%}; {len(self.told)} suggestions: precision "
            f"{precision:.1%}, recall {recall:.1%} ({right / self.misreads:.1%} of all), Brier {brier:.4f}"
        )
        for low, high in pairwise(BANDS):
            told = [(probability, one) for probability, one in self.told if low <= probability < high]
            if told:
                mean, share = (sum(column) / len(told) for column in zip(*told, strict=True))
                yield f"    told {low:.0%} to {min(high, 1):.0%}: mean {mean:.1%}, right {share:.1%} of {len(told)}"
        yield f"{self.astray} of them of the plot next door: {self.astray_found} suggested rightly"
        yield (
            f"{self.retyped} slates typed twice: found {self.retyped_found} ({self.retyped_found / self.retyped:.1%}), "
            f"{self.doubles_taken_for_it} others taken for one"
        )
        yield "cannot be: " + "; ".join(
            f"{sort} {self.found[sort]} of {n}" + (f" (+{other} otherwise)" if (other := self.asked_otherwise[sort]) else "")
            for sort, n in sorted(self.planted.items())
        )
        yield "times: " + ", ".join(f"{what} {1000 * seconds:.0f} ms" for what, seconds in self.times.items())


@contextmanager
def handed_in(day: Programme, score: Score | None = None) -> Iterator[Base]:
    """The boat day in a base, received device by device as it would come."""
    by_device: dict[str, list[Entry]] = defaultdict(list)
    for entry in day.today:
        by_device[entry.device].append(entry)
    with TemporaryDirectory() as folder:
        base = Base.create(Path(folder) / "base", "Bench")
        base.keep_protocol(day.protocol.body)
        base.receive(day.past, source="past")
        took = []
        for device, entries in sorted(by_device.items()):
            start = time.perf_counter()
            base.receive(entries, source=device)
            took.append(time.perf_counter() - start)
        if score:
            score.took(f"{len(by_device)} devices' day settled", sum(took))
            score.took("the slowest device's part", max(took))
        yield base


def asked_of(base: Base) -> list[Card]:
    with base.view() as view:
        return cards(view)


def pages(base: Base, score: Score) -> None:
    """Ask a server in a process of its own."""
    with base.view() as view:
        coral = view.rows("SELECT id FROM coral LIMIT 1")[0]["id"]
    call = [sys.executable, "-m", "fieldkit.cli", "--data", str(base.folder), "serve", "--port", "0", "--only-here"]
    with subprocess.Popen(call, stdout=subprocess.PIPE, text=True) as server:
        try:
            assert server.stdout
            address = next(found[0] for line in server.stdout if (found := re.search(r"http://[\d.:]+", line)))
            time.sleep(3)  # the first survival answer is being made ready meanwhile
            for page in (*PAGES, f"/corals/{coral}"):
                urlopen(address + page).read()
                slowest = 0.0
                for _ in range(ASKED):
                    start = time.perf_counter()
                    urlopen(address + page).read()
                    slowest = max(slowest, time.perf_counter() - start)
                score.took(page if page in PAGES else "one coral", slowest)
        finally:
            server.terminate()


def measure(seed: int, rate: float, protocol: Protocol, score: Score, *, with_pages: bool) -> None:
    day, slipped = day_of_misreads(seed, rate, protocol)
    with handed_in(day, score) as base:
        start = time.perf_counter()
        found = asked_of(base)
        score.took("all cards with suggestions", time.perf_counter() - start)
        score.of_misreads(slipped, found)
        if with_pages:
            pages(base, score)
    twice, one_slate = day_typed_twice(seed, rate, protocol)
    with handed_in(twice) as base:
        score.of_slates(one_slate, asked_of(base))
    odd, planted = day_of_impossible(seed, rate, protocol)
    with handed_in(odd) as base:
        score.of_impossible(planted, asked_of(base))


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--seeds", type=int, nargs="+", default=[401, 402, 403, 404, 405, 406])
    asked.add_argument("--rates", type=float, nargs="+", default=[1, 3, 8], help="per cent of tags misread")
    given = asked.parse_args()
    protocol = monitoring()
    for rate in given.rates:
        score = Score()
        for seed in given.seeds:
            measure(seed, rate / 100, protocol, score, with_pages=seed == given.seeds[0])
        print(f"{rate:g} % misread, seeds {' '.join(map(str, given.seeds))}")
        print("\n".join(score.lines()), flush=True)


if __name__ == "__main__":
    main()
