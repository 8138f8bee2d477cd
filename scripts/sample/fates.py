"""What became of every coral: the truth that no diver sees whole.

Death comes from competing causes, each with a hazard per day. A plot's *frailty* (gamma, mean 1) scales them all, so that the
corals of a plot share a fate, as they do on reefs. A coral that breaks loose may live on out of sight; a dead one stands
until its skeleton crumbles; a living one may be overlooked. All rates are chosen, none is from a source: together they
lose about four in ten corals in two years, half of that in one hot season.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from itertools import accumulate

from sample.dice import pick, stream
from sample.programme import LAST_DAY, SEED, Coral, Genotype, Plot, corals

TOLD_UNTIL = LAST_DAY + timedelta(days=30)  # so that every coral's life is known to an age of two years
HOT_FROM, HOT_UNTIL = date(2026, 2, 16), date(2026, 4, 20)
FRAILTY_SHAPE = 2.0
OVERLOOKED = 0.015  # chance that a living coral in its place is not found at a visit
LIVES_ON_LOOSE = 0.2  # chance that a coral that breaks loose survives, out of its place
FOUND_LOOSE = 0.5  # chance that such a one is found at the last visit
STANDS_DAYS = 300  # how long a dead coral stands on average

DISLODGED = "detachment"
CAUSES = (DISLODGED, "predation", "disease", "heat", "unknown")


@dataclass(frozen=True)
class Fate:
    """What truly happened to one coral.

    `died_on` and `cause` are None where it lived on. `left_on` is the day from which nothing stands in its
    place: it broke loose, or the skeleton crumbled. `found_loose` names the round in which one that left alive is found again.
    """

    coral: Coral
    died_on: date | None
    cause: str | None
    left_on: date | None
    found_loose: bool

    def is_alive(self, day: date) -> bool:
        return self.died_on is None or day < self.died_on

    def is_in_place(self, day: date) -> bool:
        return self.left_on is None or day < self.left_on


def daily_hazards(plot: Plot, genotype: Genotype, day: date) -> dict[str, float]:
    """The hazard of this day from each cause, for a coral of this genotype in a plot of middling luck."""
    age = (day - plot.planted_on).days
    hold = 0.7 if plot.method == "nail_tie" else 1.3
    hot = HOT_FROM <= day <= HOT_UNTIL
    return {
        DISLODGED: plot.site.exposure * hold * (0.0011 * math.exp(-age / 45) + 0.00006),
        "predation": 0.00018 * genotype.hardiness,
        "disease": 0.00010 * genotype.hardiness,
        "heat": 0.0036 * plot.site.warmth * genotype.heat if hot else 0.0,
        "unknown": 0.00006 * genotype.hardiness,
    }


@cache
def frailty(plot: Plot) -> float:
    """How hard life is in this plot: mean 1 over many plots, variance 1 / `FRAILTY_SHAPE`."""
    return stream(SEED, "frailty", plot.name).gammavariate(FRAILTY_SHAPE, 1 / FRAILTY_SHAPE)


@cache
def cumulative_hazard(plot: Plot, genotype: Genotype) -> tuple[float, ...]:
    """The summed hazard at ages 0, 1, 2 … days; exp(-it) is the true chance that nothing struck a coral so far."""
    daily = (sum(hazards.values()) for hazards in _life(plot, genotype))
    return (0.0, *(frailty(plot) * total for total in accumulate(daily)))


@cache
def chance_alive(plot: Plot, genotype: Genotype, age_days: int) -> float:
    """The true chance to be alive at an age: not struck yet, or broken loose and living on."""
    summed = cumulative_hazard(plot, genotype)
    untouched = [math.exp(-total) for total in summed]
    loose = 0.0
    for age, hazards in enumerate(_life(plot, genotype)[:age_days], start=1):
        loose += (untouched[age - 1] - untouched[age]) * hazards[DISLODGED] / sum(hazards.values())
    return untouched[age_days] + LIVES_ON_LOOSE * loose


def age_when_struck(summed: Sequence[float], luck: float) -> int:
    """The first age at which the summed hazard passes a threshold from the unit exponential, made of a number in [0, 1).

    Where nothing struck it is one more than the last age that is told.
    """
    return bisect_right(summed, -math.log1p(-luck))


@cache
def _life(plot: Plot, genotype: Genotype) -> tuple[dict[str, float], ...]:
    """The hazards of each day from the first after planting."""
    ages = range(1, (TOLD_UNTIL - plot.planted_on).days + 1)
    return tuple(daily_hazards(plot, genotype, plot.planted_on + timedelta(days=age)) for age in ages)


def all_fates() -> list[Fate]:
    return [fate_of(coral) for coral in corals()]


def fate_of(coral: Coral) -> Fate:
    """One coral's fate, drawn from its own stream of chance."""
    dice = stream(SEED, "fate", coral.name)
    age = age_when_struck(cumulative_hazard(coral.plot, coral.genotype), dice.random())
    stroke = coral.planted_on + timedelta(days=age)
    if stroke > TOLD_UNTIL:
        return Fate(coral, None, None, None, False)
    cause = pick(dice, daily_hazards(coral.plot, coral.genotype, stroke))
    if cause != DISLODGED:
        return Fate(coral, stroke, cause, stroke + timedelta(days=round(dice.expovariate(1 / STANDS_DAYS))), False)
    if dice.random() >= LIVES_ON_LOOSE:
        return Fate(coral, stroke, cause, stroke, False)
    return Fate(coral, None, None, stroke, dice.random() < FOUND_LOOSE)
