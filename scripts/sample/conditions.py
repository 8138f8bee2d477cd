"""What is to be seen of a coral on a day, and what a diver makes of it.

The condition follows from the coral's fate and its own chance: one that will soon die of a disease shows it, one in hot water
pales, one that lost its skeleton is missing. A reading adds the diver's hand to it: sizes and shares differ a little from
person to person, classes seldom.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from datetime import date, timedelta

from sample.dice import pick, stream
from sample.fates import DISLODGED, HOT_FROM, HOT_UNTIL, OVERLOOKED, Fate
from sample.programme import ROUNDS, SEED, Coral, Round

ALIVE, DEAD, MISSING = "alive", "dead", "missing"
SIGNS_SHOW_DAYS = 75  # how long before a death by disease or predation its signs are seen
PALE_DAYS = 60  # how long colour takes to come back after the heat
CAUSE_UNTOLD = 0.25  # chance that nobody can tell what killed a coral


@dataclass(frozen=True)
class Condition:
    """The state of one coral at one visit. All but `status` are None where the state has no such measure."""

    status: str
    attachment: str | None = None
    breakage: str | None = None
    live_tissue: int | None = None
    bleaching: str | None = None
    disease: str | None = None
    predation: str | None = None
    competition: str | None = None
    size_cm: float | None = None
    cause: str | None = None
    trace: str | None = None


def condition(fate: Fate, planned: Round, day: date) -> Condition:
    """The true condition of a coral at its visit of a round."""
    dice = stream(SEED, "condition", fate.coral.name, planned.name)
    if not fate.is_alive(day):
        return _dead(fate, dice.random()) if fate.is_in_place(day) else _missing(fate)
    if not fate.is_in_place(day):
        found = fate.found_loose and planned is ROUNDS[-1]
        return replace(_alive(fate, planned, day), attachment="detached") if found else _missing(fate)
    return Condition(MISSING) if dice.random() < OVERLOOKED else _alive(fate, planned, day)


def read_by(diver: str, seen: Condition, coral: Coral, day: date) -> Condition:
    """The condition as this diver writes it down: within what two careful people differ by."""
    if seen.status != ALIVE or seen.size_cm is None or seen.live_tissue is None:
        return seen
    dice = stream(SEED, "reading", diver, coral.name, day)
    return replace(
        seen,
        size_cm=max(1.0, seen.size_cm + dice.choice((-0.5, 0, 0, 0.5))),
        live_tissue=min(100, max(5, seen.live_tissue + dice.choice((-5, 0, 0, 0, 5)))),
    )


def size_cm(coral: Coral, day: date) -> float:
    """The widest diameter on a day, to half a centimetre: growth stands still in hot water; one in eight corals once breaks."""
    dice = stream(SEED, "growth", coral.name)
    rate = coral.genotype.growth_cm_per_year * math.exp(dice.gauss(0, 0.2))
    grown = coral.size_cm + rate * _growing_days(coral.planted_on, day) / 365.25
    breaks_at, breaks = dice.randint(100, 700), dice.random() < 0.125
    if breaks and (day - coral.planted_on).days >= breaks_at:
        grown *= 0.7
    return round(grown * 2) / 2


def _growing_days(start: date, day: date) -> int:
    hot = max(0, (min(day, HOT_UNTIL) - max(start, HOT_FROM)).days)
    return (day - start).days - hot


def _dead(fate: Fate, luck: float) -> Condition:
    return Condition(DEAD, attachment="solid", breakage="none", cause="unknown" if luck < CAUSE_UNTOLD else fate.cause)


def _missing(fate: Fate) -> Condition:
    """Where a coral broke loose, half of the bases tell so."""
    if fate.cause not in (DISLODGED, None) or stream(SEED, "trace", fate.coral.name).random() < 0.5:
        return Condition(MISSING, trace="nothing")
    return Condition(MISSING, trace="base_only", cause=DISLODGED)


def _alive(fate: Fate, planned: Round, day: date) -> Condition:
    coral = fate.coral
    dice = stream(SEED, "living", coral.name, planned.name)
    ailing = fate.died_on is not None and fate.died_on - day <= timedelta(days=SIGNS_SHOW_DAYS)
    live = dice.randrange(30, 80, 5) if ailing and fate.cause != DISLODGED else pick(dice, {100: 7, 95: 3, 90: 1, 75: 0.5})
    return Condition(
        ALIVE,
        attachment=_attachment(fate, day, dice.random()),
        breakage=pick(dice, {"none": 16, "tips": 2, "branch": 1}),
        live_tissue=live,
        bleaching=_bleaching(coral, day, dice.random()),
        disease=_disease(fate, ailing, dice.random()),
        predation=_predation(fate, ailing, dice.random()),
        competition=pick(dice, {"none": 16, "turf": 2, "macroalgae": 1, "damselfish_lawn": 1}),
        size_cm=size_cm(coral, day),
    )


def _attachment(fate: Fate, day: date, luck: float) -> str:
    if fate.cause == DISLODGED and fate.died_on is not None and fate.died_on - day <= timedelta(days=SIGNS_SHOW_DAYS):
        return "loose"
    age = (day - fate.coral.planted_on).days
    return "loose" if luck < 0.02 else "grown_on" if age > 75 + 150 * luck else "solid"


def _bleaching(coral: Coral, day: date, luck: float) -> str:
    stress = 0.0
    if HOT_FROM <= day <= HOT_UNTIL + timedelta(days=PALE_DAYS):
        stress = coral.genotype.heat * coral.plot.site.warmth
    if luck < 0.12 * stress:
        return "fully"
    if luck < 0.35 * stress:
        return "partly"
    return "pale" if luck < 0.6 * stress + 0.02 else "none"


def _disease(fate: Fate, ailing: bool, luck: float) -> str:
    return "white_syndrome" if (ailing and fate.cause == "disease") or luck < 0.01 else "none"


def _predation(fate: Fate, ailing: bool, luck: float) -> str:
    if ailing and fate.cause == "predation":
        return "snails" if luck < 0.6 else "crown_of_thorns"
    return "snails" if luck > 0.97 else "fish_bites" if luck > 0.93 else "none"
