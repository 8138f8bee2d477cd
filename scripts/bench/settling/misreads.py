"""A boat day on which tags were misread: a glyph for one that looks like it, figures swapped, a glyph overgrown, any other
glyph, one left out, or the plate of the neighbour. Besides, some corals that nobody registered are read, and some of the plot
next door: their tags are right and the plot is wrong; one in two of them was not read in its own plot."""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from itertools import pairwise

from fieldkit.protocol import Protocol
from fieldkit.register.names import CONFUSED
from settling.programme import CORALS, Coral, Plot, Programme, noted, programme, swum

UNREGISTERED = 0.003
ASTRAY = 0.004
SLIPS = {"alike": 50, "swapped": 15, "overgrown": 15, "other": 8, "left_out": 2, "neighbour": 10}


@dataclass
class Misreads:
    """What was slipped into a day: of each such row the true coral, and which of the rows are of another plot."""

    truth: dict[str, str] = field(default_factory=dict)
    astray: set[str] = field(default_factory=set)


def day_of_misreads(seed: int, rate: float, protocol: Protocol) -> tuple[Programme, Misreads]:
    """The day, and what was slipped into it; `rate` is the share of tags that are misread."""
    day, slipped = programme(seed, protocol), Misreads()
    strays = _strays(day)
    moved = {coral.id for corals in strays.values() for coral in corals if day.dice.random() < 0.5}
    for plot in day.plots:
        _dive(day, plot, rate, strays[plot.id], moved, slipped)
    return day, slipped


def _strays(day: Programme) -> dict[str, list[Coral]]:
    """By plot, the corals of the plot next door that are written down in it."""
    found: dict[str, list[Coral]] = {plot.id: [] for plot in day.plots}
    for plot, beside in pairwise(day.plots):
        if plot.site == beside.site:
            for mine, theirs in ((plot, beside), (beside, plot)):
                found[mine.id] += [coral for coral in theirs.corals if day.dice.random() < ASTRAY / 2]
    return found


def _dive(day: Programme, plot: Plot, rate: float, strays: list[Coral], moved: set[str], slipped: Misreads) -> None:
    dice, session = day.dice, day.dive(plot, f"dive {plot.number}")
    rows = [coral for coral in swum(dice, plot) if coral.id not in moved]
    for stray in strays:
        rows.insert(dice.randrange(len(rows) + 1), stray)
    for line, coral in enumerate(rows, 1):
        is_astray = coral in strays
        tag = misread(dice, coral, plot.corals) if dice.random() < rate and not is_astray else coral.tag
        row = {"plot": plot.id, "tag": tag, "line": str(line), **noted(dice, coral)}
        entry = session.say("observation", row)
        if tag != coral.tag or is_astray:
            slipped.truth[entry.digest] = coral.id
        if is_astray:
            slipped.astray.add(entry.digest)
        if dice.random() < UNREGISTERED:
            stranger = _of_nobody(day)
            session.say("observation", {"plot": plot.id, "tag": stranger, "line": str(line), "status": "alive"})


def _of_nobody(day: Programme) -> str:
    """A tag that no coral of the programme wears: one that did would be registered, where it hangs."""
    worn = {coral.tag for plot in day.plots for coral in plot.corals}
    while (tag := f"{day.dice.choice('BGOS')}{day.dice.randrange(100, 999)}") in worn:
        pass
    return tag


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
