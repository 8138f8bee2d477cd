"""How much of a permit is used: corals planted at its sites in its period, species by species. Pure."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from fieldkit.protocol.number import number
from fieldkit.register.fields import species_key, species_named


@dataclass(frozen=True, slots=True)
class Outplanted:
    """Corals of one species planted on one day at the sites of a permit."""

    species: str | None
    day: str | None
    n: int


@dataclass(frozen=True, slots=True)
class Used:
    """What is used of a permit for one species; `limit` is None where the permit names none."""

    species: str
    used: int
    limit: int | None

    @property
    def is_over(self) -> bool:
        return self.limit is not None and self.used > self.limit


@dataclass(frozen=True, slots=True)
class PermitUse:
    """How much of a permit is used. `undated` corals, of no known planting day, count in no species."""

    species: tuple[Used, ...]
    undated: int


def covers(permit: Mapping[str, Any], day: str) -> bool:
    """Whether a day (ISO 8601) lies in a permit's period; a period without an end is open there."""
    start, end = (value if isinstance(value := permit.get(name), str) else None for name in ("from", "until"))
    return (start is None or start <= day) and (end is None or day <= end)


def permit_use(permit: Mapping[str, Any], planted: Iterable[Outplanted]) -> PermitUse:
    """How much of a permit is used by what was planted at its sites.

    A coral counts with the day on which it was planted, whatever became of it. A coral of unknown species counts for none.
    """
    used: Counter[str] = Counter()
    named: dict[str, str] = {}
    undated = 0
    for one in planted:
        if one.day is None:
            undated += one.n
        elif one.species and covers(permit, one.day):
            key = species_key(one.species)
            named.setdefault(key, one.species)
            used[key] += one.n
    limits = limits_of(permit)
    keys = sorted({*used, *limits})
    return PermitUse(tuple(Used(named.get(key, species_named(key)), used[key], limits.get(key)) for key in keys), undated)


def limits_of(permit: Mapping[str, Any]) -> dict[str, int]:
    """Species key to number."""
    limits = permit.get("limits")
    told = limits.items() if isinstance(limits, Mapping) else ()
    return {key: int(most) for key, said in told if (most := number(said)) is not None}
