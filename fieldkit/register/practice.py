"""What common practice and the register have to say to a planting before it is written: advice, never a wall. Pure.

Each piece of advice is a `Fault`: a sentence of the catalogue and what it names.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fieldkit.errors import Fault
from fieldkit.protocol.number import number
from fieldkit.register.fields import species_key, species_named
from fieldkit.register.fold import Worn
from fieldkit.register.permits import covers, limits_of
from fieldkit.register.stock import Stock
from fieldkit.register.tags import Tagged

POINTS = 3
"""Points of attachment that a coral should have at least. Common practice, no source."""

CORALS, RING_M2 = 10, 0.6
"""About ten corals to a ring of about 0.6 m2. Common practice, no source."""

ABOUT = 1.2  # up to a fifth more is still "about". Chosen by us.

MOVES = ("rubble", "sand", "gravel")
"""What a coral is not to be fixed on: it should stand on stable bare substrate. Common practice, no source."""

_BY_NO_POINT = ("crevice",)  # a coral wedged in has no point to count


@dataclass(frozen=True, slots=True)
class Wearer:
    """Another coral that wears a tag of the series, or wore it: where, and on which days."""

    worn: Worn
    plot: str


@dataclass(frozen=True, slots=True)
class Plan:
    """A planting as it would be written, and what the register knows around it.

    Attributes:
        values: what is said of every coral: method, points, size_cm …
        standing: how many corals the plot held before that day.
        species: of each genotype the species, where it is known.
        permit: of the site, if it names one; `used` of it by species key, before this planting.
        lot_genotype: genotype of the lot that they are from.
        wearers: by tag of the series, who else wears it.
    """

    day: str
    tagged: Sequence[Tagged]
    values: Mapping[str, Any]
    plot: Mapping[str, Any]
    standing: int = 0
    species: Mapping[str, str] = field(default_factory=dict)
    permit: Mapping[str, Any] | None = None
    used: Mapping[str, int] = field(default_factory=dict)
    lot_genotype: str | None = None
    stock: Stock | None = None
    wearers: Mapping[str, Collection[Wearer]] = field(default_factory=dict)


def advice(plan: Plan) -> list[Fault]:
    """All that should be looked at once more before this is written; what weighs most comes first."""
    return [*_tags_worn(plan), *_permit(plan), *_lot(plan), *_attachment(plan), *_place(plan)]


def neighbours_m(area_m2: float, corals: int) -> float:
    """How far neighbours stand apart, metres, where so many corals stand evenly round a ring of this area."""
    return 2 * math.sqrt(area_m2 / math.pi) * math.sin(math.pi / corals)


def _tags_worn(plan: Plan) -> list[Fault]:
    hung = {tag: Worn(tag, plan.day) for tag in (one.tag for one in plan.tagged)}
    found = []
    for tag, wearers in plan.wearers.items():
        there = [one for one in wearers if tag in hung and one.worn.overlaps(hung[tag])]
        if there:
            plots = ", ".join(sorted({one.plot for one in there}))
            found.append(Fault("programme.advice_tag_worn", {"tag": tag, "plots": plots}))
    return found


def _permit(plan: Plan) -> list[Fault]:
    if plan.permit is None:
        return [Fault("programme.advice_no_permit")]
    called = str(plan.permit.get("number", ""))
    if not covers(plan.permit, plan.day):
        return [Fault("programme.advice_outside_permit", {"permit": called, "day": plan.day})]
    limits = limits_of(plan.permit)
    if not limits:
        return []
    more = Counter(species_key(plan.species.get(one.genotype, "")) for one in plan.tagged)
    found = []
    for key, n in sorted(more.items()):
        if not key:
            found.append(Fault("programme.advice_no_species", {"n": n}))
        elif key not in limits:
            found.append(Fault("programme.advice_not_permitted", {"species": species_named(key), "permit": called}))
        elif plan.used.get(key, 0) + n > limits[key]:
            told = {"species": species_named(key), "n": plan.used.get(key, 0) + n, "limit": limits[key], "permit": called}
            found.append(Fault("programme.advice_over_limit", told))
    return found


def _lot(plan: Plan) -> list[Fault]:
    found = []
    if plan.lot_genotype and any(one.genotype != plan.lot_genotype for one in plan.tagged):
        found.append(Fault("programme.advice_other_genotype"))
    if plan.stock is None:
        return found
    ready = plan.stock.left if plan.stock.ready is None else plan.stock.ready
    if plan.day > plan.stock.counted.day and len(plan.tagged) > ready:
        found.append(Fault("programme.advice_more_than_ready", {"n": len(plan.tagged), "ready": max(ready, 0)}))
    return found


def _attachment(plan: Plan) -> list[Fault]:
    points = number(plan.values.get("points"))
    if points is None or points >= POINTS or plan.values.get("method") in _BY_NO_POINT:
        return []
    return [Fault("programme.advice_points", {"points": str(points), "least": POINTS})]


def _place(plan: Plan) -> list[Fault]:
    found = []
    area = number(plan.plot.get("area_m2"))
    corals = plan.standing + len(plan.tagged)
    if area and corals > ABOUT * CORALS / RING_M2 * float(area):
        usual = max(1, round(CORALS / RING_M2 * float(area)))
        apart = round(100 * neighbours_m(float(area), corals))
        found.append(Fault("programme.advice_crowded", {"n": corals, "usual": usual, "apart": apart}))
    if any(word in str(plan.plot.get("substrate", "")).casefold() for word in MOVES):
        found.append(Fault("programme.advice_substrate", {"substrate": str(plan.plot["substrate"])}))
    return found
