"""Sizes that cannot well be: growth past what the protocol calls plausible. Pure; a matter asks, it refuses nothing.

Growth is change over days, times 365.25, between two visits on which the coral was alive; under 60 days no rate is worth asking
about (common practice, no source). A coral may shrink: breakage and partial death are data.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal, InvalidOperation
from itertools import pairwise

from fieldkit.errors import Fault
from fieldkit.protocol import Protocol
from fieldkit.register.fold import Coral
from fieldkit.settle.compare import Visit
from fieldkit.settle.matter import Matter, Rulings

MIN_DAYS = 60
DAYS_A_YEAR = Decimal("365.25")


def odd_growth(coral: Coral, alive: Sequence[Visit], protocol: Protocol | None, rulings: Rulings) -> list[Matter]:
    """Matters about pairs of visits between which the coral grew too fast.

    Args:
        alive: the visits on which it was alive, in order of days.
        protocol: names the field with the role `size` and the limit `growth_cm_per_year`; without either nothing is asked.
    """
    field = protocol.with_role("size") if protocol else None
    limit = protocol.plausible.get("growth_cm_per_year") if protocol else None
    if field is None or limit is None:
        return []
    sized = [(visit, size) for visit in alive if (size := _decimal(visit.values.get(field.name))) is not None]
    found = []
    for (before, small), (after, large) in pairwise(sized):
        days = (after.days["alive"] - before.days["alive"]).days
        if days >= MIN_DAYS and (large - small) / days * DAYS_A_YEAR > limit:
            found.append(_matter(coral, before, after, small, large, days, rulings))
    return found


def _decimal(value: object) -> Decimal | None:
    try:
        return Decimal(value) if isinstance(value, str) else None
    except InvalidOperation:
        return None


def _matter(coral: Coral, before: Visit, after: Visit, small: Decimal, large: Decimal, days: int, rulings: Rulings) -> Matter:
    of = tuple(sorted({*before.digests, *after.digests}))
    ruling = rulings.on("size", of)
    return Matter(
        "size",
        of,
        Fault("settle.grew_too_fast", {"small": str(small), "large": str(large), "days": days}),
        coral.plot or "",
        corals=(coral.id,),
        visit=after.visit,
        answers=("stands",),
        ruling=ruling.digest if ruling and ruling.answer == "stands" else None,
    )
