"""The programme that the boat days are of: 600 corals in 60 plots at two sites, planted a year ago, seen half a year ago."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from fieldkit.ledger import Entry, derived_id, mint
from fieldkit.protocol import Protocol, read_protocol

PROTOCOL = Path(__file__).parents[3] / "sample_surveys" / "protocols" / "post_outplant_monitoring.toml"
PLOTS, CORALS, DEVICES = 60, 10, 6
PLANTED, BEFORE, TODAY = "2025-05-01", "2025-11-01", "2026-05-01"
EVENING_MS = round(datetime.fromisoformat(f"{TODAY}T18:00:00+00:00").timestamp() * 1000)
"""When all of it is typed, the past too: what was written later than its day says nothing of it."""
SITES = ("Amo", "Bel")
SWUM_PAST, OUT_OF_TURN = 0.03, 0.05


def monitoring() -> Protocol:
    return read_protocol(PROTOCOL.read_bytes(), name=PROTOCOL.name)


@dataclass
class Coral:
    id: str
    plot: str
    tag: str
    place: int
    size: float
    alive: bool
    before: str = ""
    """Its state as noted half a year ago."""


@dataclass
class Plot:
    id: str
    number: int
    site: str
    corals: list[Coral]

    @property
    def device(self) -> int:
        """Which of the devices its slate is typed on."""
        return self.number * DEVICES // PLOTS


class Session:
    """One session, written entry by entry."""

    def __init__(self, entries: list[Entry], called: str, *, device: str | None = None, **values: Any) -> None:
        self._entries, self.id, self._seq = entries, derived_id("session", called), 0
        self._device = derived_id("device", device or self.id)
        self._at = round(
            datetime.fromisoformat(f"{TODAY}T18:00:00+00:00").timestamp() * 1000
        )  # all of it is typed that evening
        self.say("session", {"role": "crew", **values})

    def say(self, kind: str, values: dict[str, Any]) -> Entry:
        self._seq += 1
        self._entries.append(mint(kind, device=self._device, session=self.id, seq=self._seq, at=self._at, values=values))
        return self._entries[-1]


@dataclass
class Programme:
    """What was planted and seen before, and what the boat day hands in."""

    protocol: Protocol
    dice: random.Random
    plots: list[Plot]
    past: list[Entry] = field(default_factory=list)
    today: list[Entry] = field(default_factory=list)

    def dive(self, plot: Plot, called: str, **values: Any) -> Session:
        """A session of the boat day in one plot."""
        head = {"day": TODAY, "site": plot.site, "protocol": self.protocol.digest, "recorder": f"D{plot.device}"}
        return Session(self.today, called, device=f"device {plot.device}", **{**head, **values})


def programme(seed: int, protocol: Protocol) -> Programme:
    """The programme up to the morning of the boat day."""
    dice = random.Random(seed)
    sites = [derived_id("site", name) for name in SITES]
    plots = [_plot(dice, number, sites[number * len(sites) // PLOTS]) for number in range(PLOTS)]
    found = Programme(protocol, dice, plots)
    register = Session(found.past, "register", role="lead")
    for site, name in zip(sites, SITES, strict=True):
        register.say("site", {"site": site, "name": name})
        for day in (BEFORE, TODAY):
            there = [plot.id for plot in plots if plot.site == site]
            out = derived_id("boat_day", f"{name} {day}")
            register.say("boat_day", {"boat_day": out, "day": day, "site": site, "plots": there})
    for site in sites:
        planting = Session(found.past, f"planting {site}", role="lead", site=site, day=PLANTED)
        before = Session(found.past, f"before {site}", day=BEFORE, recorder="KA", site=site, protocol=protocol.digest)
        for plot in (plot for plot in plots if plot.site == site):
            name = f"P{plot.number}"
            register.say("plot", {"plot": plot.id, "site": site, "name": name, "recorded_as": "tagged"})
            for coral in plot.corals:
                row = {"row": coral.id, "plot": plot.id, "tag": coral.tag, "position": str(coral.place + 1)}
                planting.say("planting", row)
                seen = noted(dice, coral)
                coral.before = seen["status"]
                before.say("observation", {"coral": coral.id, "plot": plot.id, **seen})
    for coral in (coral for plot in plots for coral in plot.corals):
        coral.size += dice.gauss(3, 1.5)
        coral.alive = coral.alive and dice.random() > 0.06
    return found


def _plot(dice: random.Random, number: int, site: str) -> Plot:
    id_ = derived_id("plot", str(number))
    return Plot(id_, number, site, [_coral(dice, id_, number, place) for place in range(CORALS)])


def _coral(dice: random.Random, plot: str, number: int, place: int) -> Coral:
    tag = f"{'BGOS'[number % 4]}{100 + number * CORALS + place}"
    return Coral(derived_id("coral", tag), plot, tag, place, dice.uniform(6, 25), dice.random() > 0.12)


def noted(dice: random.Random, coral: Coral, *, to_cm: float = 0.1) -> dict[str, str]:
    """What a diver puts down of a coral; sizes are read to `to_cm`."""
    if not coral.alive:
        return {"status": dice.choice(["dead", "missing"])}
    read = round((coral.size + dice.gauss(0, 0.5)) / to_cm) * to_cm
    return {"status": "alive", "size_cm": f"{read:.1f}", "live_tissue": str(dice.choice([80, 90, 95, 100]))}


def swum(dice: random.Random, plot: Plot) -> Iterator[Coral]:
    """The corals of a plot in the order in which a diver comes by; some are swum past, some read out of turn."""
    found = [coral for coral in plot.corals if dice.random() > SWUM_PAST]
    for i in range(len(found) - 1):
        if dice.random() < OUT_OF_TURN:
            found[i], found[i + 1] = found[i + 1], found[i]
    return iter(found)
