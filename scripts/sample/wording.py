"""A condition in the words of the monitoring protocol: the fields that its file asks for, where they apply."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from sample.conditions import ALIVE, DEAD, MISSING, Condition
from sample.dice import stream
from sample.programme import SEED, Site

SIZE, LIVE_TISSUE, BLEACHING = "size_cm", "live_tissue", "bleaching"
COUNTED_ANIMALS = {"snails": 9, "crown_of_thorns": 1}  # how many at most; fish leave only their bites


def coral_fields(seen: Condition) -> dict[str, Any]:
    """What is written of one coral; what was not looked at is left out."""
    fields: dict[str, Any] = {"status": seen.status}
    if seen.status == ALIVE:
        fields |= {
            "attachment": seen.attachment,
            "breakage": seen.breakage,
            LIVE_TISSUE: None if seen.live_tissue is None else str(seen.live_tissue),
            BLEACHING: seen.bleaching,
            **_signs(seen.disease),
            **_animals(seen),
            "competition": None if seen.competition is None else [seen.competition],
            SIZE: None if seen.size_cm is None else f"{seen.size_cm:g}",
        }
    if seen.status == DEAD:
        fields |= {"attachment": seen.attachment, "breakage": seen.breakage, "cause": seen.cause}
    if seen.status == MISSING:
        fields |= {"trace": seen.trace, "cause": seen.cause}
    return {name: value for name, value in fields.items() if value is not None}


def group_fields(seen: Sequence[Condition]) -> dict[str, str]:
    """The counts of one genotype group."""
    counts = {status: str(sum(one.status == status for one in seen)) for status in (ALIVE, DEAD, MISSING)}
    return counts | {"bleached_count": str(sum(one.bleaching not in (None, "none") for one in seen))}


def point_lost(size: str) -> str:
    """A size typed without its decimal point."""
    return f"{float(size) * 10:g}"


def far_larger(size: str) -> str:
    """A size that no two careful people would differ by."""
    return f"{float(size) + 6:g}"


def far_less(live: str) -> str:
    """A share of live tissue that no two careful people would differ by."""
    return str(max(5, int(live) - 40))


def head_fields(site: Site, day: date, dive: str) -> dict[str, Any]:
    """What is noted once a dive: the water's warmth follows the season."""
    dice = stream(SEED, "water", site.code, day, dive)
    warmth = 28.2 + (1.6 if day.month in (2, 3, 4) else 0.0) + dice.choice((-0.3, 0.0, 0.2, 0.4))
    return {
        "temperature_c": f"{warmth:.1f}",
        "thermometer": "dive computer",
        "depth_m": site.depth_m,
        "visibility_m": str(dice.randint(8, 22)),
        "current": dice.choice(("none", "light", "light", "strong")),
    }


def _signs(disease: str | None) -> dict[str, Any]:
    """Signs first, a name after."""
    if disease is None:
        return {}
    return {"disease": ["none"]} if disease == "none" else {"disease": ["tissue_loss"], "disease_name": disease}


def _animals(seen: Condition) -> dict[str, Any]:
    if seen.predation is None:
        return {}
    most = COUNTED_ANIMALS.get(seen.predation)
    counted = {} if most is None else {"predators": {seen.predation: str(1 + (seen.live_tissue or 0) // 5 % most)}}
    return {"predation": [seen.predation], **counted}
