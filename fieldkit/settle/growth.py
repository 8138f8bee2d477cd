"""Sizes that cannot well be: growth past what the protocol calls plausible. Pure; a matter asks, it refuses nothing.

Growth is change over days, times 365.25, between two visits on which the coral was alive; under 60 days no rate is worth asking
about (common practice, no source). A coral may shrink: breakage and partial death are data.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from fieldkit.errors import Fault
from fieldkit.protocol import Protocol, number
from fieldkit.register.fold import Coral
from fieldkit.settle.compare import Visit
from fieldkit.settle.matter import Matter, Rulings

MIN_DAYS = 60
DAYS_A_YEAR = Decimal("365.25")


def odd_growth(
    coral: Coral, alive: Sequence[Visit], protocol: Protocol | None, rulings: Rulings
) -> tuple[list[Matter], dict[str, str]]:
    """Matters about pairs of visits between which a coral grew too fast, and the sizes that rulings on them give, by visit.

    Args:
        alive: the visits on which it was alive, in order of days.
        protocol: names the field with the role `size` and the limit `growth_cm_per_year`; without either nothing is asked.
    """
    field = protocol.with_role("size") if protocol else None
    limit = protocol.plausible.get("growth_cm_per_year") if protocol else None
    if field is None or limit is None:
        return [], {}
    matters, mended = [], dict[str, str]()
    before: tuple[Visit, Decimal] | None = None
    for visit in alive:
        size = number(visit.values.get(field.name))
        if size is None:
            continue
        if before and _rate(*before, visit, size) > limit:
            matter = _matter(coral, field.name, before, (visit, size))
            ruling = rulings.settling(matter)
            told = number(ruling.fields.get(field.name)) if ruling and ruling.answer == "use" else None
            is_settled = ruling and (ruling.answer == "stands" or told is not None)
            matters.append(replace(matter, ruling=ruling.digest) if ruling and is_settled else matter)
            if ruling and told is not None:
                meant = before[0] if ruling.observation in before[0].digests else visit
                mended[meant.visit] = str(told)
                size = told if meant is visit else size  # later sizes are judged by what a ruling gave
        before = (visit, size)
    return matters, mended


def _rate(before: Visit, small: Decimal, after: Visit, large: Decimal) -> Decimal:
    """Centimetres a year, to the millimetre: 30 cm in 365 days are 30 a year. 0 over too short a time to tell."""
    days = (after.days["alive"] - before.days["alive"]).days
    return round((large - small) / days * DAYS_A_YEAR, 1) if days >= MIN_DAYS else Decimal(0)


def _matter(coral: Coral, name: str, before: tuple[Visit, Decimal], after: tuple[Visit, Decimal]) -> Matter:
    (one, small), (other, large) = before, after
    return Matter(
        "size",
        tuple(sorted({*one.digests, *other.digests})),
        Fault(
            "settle.grew_too_fast",
            {"small": str(small), "large": str(large), "days": (other.days["alive"] - one.days["alive"]).days},
        ),
        coral.plot or "",
        corals=(coral.id,),
        visit=other.visit,
        fields={name: {}},
        answers=("use", "stands"),
    )
