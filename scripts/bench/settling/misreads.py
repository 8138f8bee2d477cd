"""A boat day on which tags were misread: a glyph for one that looks like it, figures swapped, a glyph overgrown, any other
glyph, one left out, or the plate of the neighbour. Besides, some corals that nobody registered are read."""

from __future__ import annotations

import random

from fieldkit.protocol import Protocol
from fieldkit.register.names import CONFUSED
from settling.programme import CORALS, Coral, Plot, Programme, noted, programme, swum

UNREGISTERED = 0.003
SLIPS = {"alike": 50, "swapped": 15, "overgrown": 15, "other": 8, "left_out": 2, "neighbour": 10}


def day_of_misreads(seed: int, rate: float, protocol: Protocol) -> tuple[Programme, dict[str, str]]:
    """The day, and of each misread row the true coral; `rate` is the share of tags that are misread."""
    day = programme(seed, protocol)
    truth: dict[str, str] = {}
    for plot in day.plots:
        _dive(day, plot, rate, truth)
    return day, truth


def _dive(day: Programme, plot: Plot, rate: float, truth: dict[str, str]) -> None:
    dice, session = day.dice, day.dive(plot, f"dive {plot.number}")
    for line, coral in enumerate(swum(dice, plot), 1):
        tag = misread(dice, coral, plot.corals) if dice.random() < rate else coral.tag
        row = {"plot": plot.id, "tag": tag, "line": str(line), **noted(dice, coral)}
        entry = session.say("observation", row)
        if tag != coral.tag:
            truth[entry.digest] = coral.id
        if dice.random() < UNREGISTERED:
            stranger = f"{dice.choice('BGOS')}{dice.randrange(100, 999)}"
            session.say("observation", {"plot": plot.id, "tag": stranger, "line": str(line), "status": "alive"})


def misread(dice: random.Random, coral: Coral, corals: list[Coral]) -> str:
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
