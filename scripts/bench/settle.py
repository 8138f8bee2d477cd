"""How good are the suggestions for misread tags, and how long does a boat day take to settle?

    python scripts/bench/settle.py [--seeds 101 102 103] [--rates 1 3 8]

An invented programme of 600 corals in 60 plots was visited half a year ago; on one boat day six devices hand in ten plots each.
Of the tags, some per cent are misread: a glyph for one that looks like it, figures swapped, a glyph overgrown, any other glyph,
one left out, or the plate of the neighbour. Besides, some corals are swum past, some are read out of turn, and some that nobody
registered are read. The truth is known, so every suggestion is right or wrong. Printed for each rate, over all seeds:

    precision  of the suggestions, how many are right
    recall     of the misreads that became a matter, how many have the right suggestion
    noticed    of all misreads, how many became a matter (the others hit a tag that hangs in the plot)
    Brier      mean square of probability minus outcome: 0 is perfect, 0.25 that of a coin
    told       mean probability of the suggestions, in bands, beside the share that was right

The constants of `fieldkit/settle/suggest.py` were tried on seeds 1 to 9; the seeds here are others.
"""

from __future__ import annotations

import argparse
import random
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from fieldkit.base import Base
from fieldkit.ledger import Entry, derived_id, mint
from fieldkit.protocol import Protocol, read_protocol
from fieldkit.register.names import CONFUSED
from fieldkit.reports.matters import Card, cards

PROTOCOL = Path(__file__).parents[2] / "sample_surveys" / "protocols" / "post_outplant_monitoring.toml"
PLOTS, CORALS, DEVICES = 60, 10, 6
PLANTED, BEFORE, TODAY = "2025-05-01", "2025-11-01", "2026-05-01"
SWUM_PAST, OUT_OF_TURN, UNREGISTERED = 0.03, 0.05, 0.003
SLIPS = {"alike": 50, "swapped": 15, "overgrown": 15, "other": 8, "left_out": 2, "neighbour": 10}
BANDS = (0.35, 0.6, 0.8, 0.9, 0.95, 0.99, 1.0001)


@dataclass
class Coral:
    id: str
    plot: str
    tag: str
    place: int
    size: float
    alive: bool


@dataclass
class Day:
    """What was planted and seen before, what the boat day hands in, and of each misread row the true coral."""

    past: list[Entry] = field(default_factory=list)
    today: list[Entry] = field(default_factory=list)
    truth: dict[str, str] = field(default_factory=dict)


class Session:
    """One session, written entry by entry."""

    def __init__(self, entries: list[Entry], called: str, **values: Any) -> None:
        self._entries, self._id, self._seq = entries, derived_id("session", called), 0
        self.say("session", {"role": "crew", **values})

    def say(self, kind: str, values: dict[str, Any]) -> Entry:
        self._seq += 1
        device = derived_id("device", self._id)
        self._entries.append(mint(kind, device=device, session=self._id, seq=self._seq, at=0, values=values))
        return self._entries[-1]


def simulated(seed: int, rate: float, protocol: Protocol) -> Day:
    """One programme with its boat day; `rate` is the share of tags that are misread."""
    dice, day, site = random.Random(seed), Day(), derived_id("site")
    head = {"site": site, "protocol": protocol.digest}
    register = Session(day.past, "register", role="lead")
    register.say("site", {"site": site, "name": "Amo"})
    planting = Session(day.past, "planting", role="lead", site=site, day=PLANTED)
    before = Session(day.past, "before", day=BEFORE, recorder="KA", **head)
    for number in range(PLOTS):
        plot = derived_id("plot", str(number))
        register.say("plot", {"plot": plot, "site": site, "name": f"P{number}", "recorded_as": "tagged"})
        corals = [_planted(dice, plot, number, place) for place in range(CORALS)]
        for coral in corals:
            planting.say("planting", {"row": coral.id, "plot": plot, "tag": coral.tag, "position": str(coral.place + 1)})
            before.say("observation", {"coral": coral.id, "plot": plot, **_seen(dice, coral)})
        device = number * DEVICES // PLOTS
        _dive(dice, Session(day.today, f"dive {number}", day=TODAY, recorder=f"D{device}", **head), corals, rate, day.truth)
    return day


def _planted(dice: random.Random, plot: str, number: int, place: int) -> Coral:
    tag = f"{'BGOS'[number % 4]}{100 + number * CORALS + place}"
    return Coral(derived_id("coral", tag), plot, tag, place, dice.uniform(6, 25), dice.random() > 0.12)


def _seen(dice: random.Random, coral: Coral) -> dict[str, str]:
    if not coral.alive:
        return {"status": dice.choice(["dead", "missing"])}
    return {
        "status": "alive",
        "size_cm": f"{coral.size + dice.gauss(0, 0.5):.1f}",
        "live_tissue": str(dice.choice([80, 90, 95, 100])),
    }


def _dive(dice: random.Random, session: Session, corals: list[Coral], rate: float, truth: dict[str, str]) -> None:
    """A plot on the boat day: the rows of a slate in the order in which it was swum."""
    for coral in corals:
        coral.size += dice.gauss(3, 1.5)
        coral.alive = coral.alive and dice.random() > 0.06
    swum = [coral for coral in corals if dice.random() > SWUM_PAST]
    for i in range(len(swum) - 1):
        if dice.random() < OUT_OF_TURN:
            swum[i], swum[i + 1] = swum[i + 1], swum[i]
    for line, coral in enumerate(swum, 1):
        noted = _misread(dice, coral, corals) if dice.random() < rate else coral.tag
        row = {"plot": coral.plot, "tag": noted, "line": str(line), **_seen(dice, coral)}
        entry = session.say("observation", row)
        if noted != coral.tag:
            truth[entry.digest] = coral.id
        if dice.random() < UNREGISTERED:
            stranger = f"{dice.choice('BGOS')}{dice.randrange(100, 999)}"
            session.say("observation", {"plot": coral.plot, "tag": stranger, "line": str(line), "status": "alive"})


def _misread(dice: random.Random, coral: Coral, corals: list[Coral]) -> str:
    """A tag as it should not have been noted."""
    tag, place = coral.tag, dice.randrange(len(coral.tag))
    (slip,) = dice.choices(list(SLIPS), list(SLIPS.values()))
    if slip == "neighbour":
        return corals[max(coral.place - 1, 0) if dice.random() < 0.5 else min(coral.place + 1, CORALS - 1)].tag
    if slip == "swapped":
        place = dice.randrange(1, len(tag) - 1)
        return tag[:place] + tag[place + 1] + tag[place] + tag[place + 2 :]
    if slip == "alike":
        confusable = [(i, glyphs) for i, one in enumerate(tag) for glyphs in CONFUSED if one.lower() in glyphs]
        place, glyphs = dice.choice(confusable)
        return tag[:place] + dice.choice([one for one in glyphs if one != tag[place].lower()]).upper() + tag[place + 1 :]
    glyph = {"overgrown": "?", "left_out": "", "other": dice.choice("CEFHJKMNPRTUVWXY379")}[slip]
    return tag[:place] + glyph + tag[place + 1 :]


@dataclass
class Score:
    """What became of all misreads of a rate."""

    misreads: int = 0
    noticed: int = 0
    told: list[tuple[float, bool]] = field(default_factory=list)
    """Probability of each suggestion, and whether it was right."""
    receive_s: float = 0.0
    cards_s: float = 0.0

    def add(self, day: Day, found: list[Card]) -> None:
        self.misreads += len(day.truth)
        for card in found:
            if card.matter.kind == "tag":
                self.noticed += sum(digest in day.truth for digest in card.matter.of)
                if suggested := card.suggestion:
                    digest = suggested.keys.get("observation", card.matter.of[0])
                    self.told.append((suggested.probability or 0.0, day.truth.get(digest) == suggested.keys["coral"]))

    def lines(self) -> Iterator[str]:
        right = sum(one for _, one in self.told)
        brier = sum((probability - one) ** 2 for probability, one in self.told) / max(len(self.told), 1)
        precision, recall = right / max(len(self.told), 1), right / max(self.noticed, 1)
        yield (
            f"{self.misreads} misreads: noticed {self.noticed / self.misreads:.1%}, precision {precision:.1%}, "
            f"recall {recall:.1%}, Brier {brier:.4f}"
        )
        for low, high in pairwise(BANDS):
            told = [(probability, one) for probability, one in self.told if low <= probability < high]
            if told:
                mean, share = (sum(column) / len(told) for column in zip(*told, strict=True))
                yield f"    told {low:.0%} to {min(high, 1):.0%}: mean {mean:.1%}, right {share:.1%} of {len(told)}"
        yield f"    a boat day: settled in {self.receive_s:.2f} s, all cards in {self.cards_s:.2f} s (the fastest)"


def measured(seed: int, rate: float, protocol: Protocol, score: Score) -> None:
    """Hand a boat day in to a real base, and look at its cards."""
    day = simulated(seed, rate, protocol)
    with TemporaryDirectory() as folder:
        base = Base.create(Path(folder) / "base", "Bench")
        base.keep_protocol(protocol.body)
        base.receive(day.past, source="past")
        start = time.perf_counter()
        base.receive(day.today, source="boat day")
        received = time.perf_counter() - start
        with base.view() as view:
            start = time.perf_counter()
            found = cards(view)
            shown = time.perf_counter() - start
    score.add(day, found)
    score.receive_s = min(score.receive_s or received, received)
    score.cards_s = min(score.cards_s or shown, shown)


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--seeds", type=int, nargs="+", default=[101, 102, 103, 104, 105, 106])
    asked.add_argument("--rates", type=float, nargs="+", default=[1, 3, 8], help="per cent of tags misread")
    given = asked.parse_args()
    protocol = read_protocol(PROTOCOL.read_bytes(), name=PROTOCOL.name)
    for rate in given.rates:
        score = Score()
        for seed in given.seeds:
            measured(seed, rate / 100, protocol, score)
        print(f"{rate:g} % misread, seeds {' '.join(map(str, given.seeds))}")
        print("\n".join(score.lines()), flush=True)


if __name__ == "__main__":
    main()
