"""How large a coral was, visit by visit. Pure.

A coral may shrink: breakage and partial death are data, and are told as such.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from fieldkit.base import CoralRow, SeenRow
from fieldkit.protocol import Protocol, number
from fieldkit.settle.calendar import day_of


@dataclass(frozen=True)
class Measured:
    """A size as settled.

    Attributes:
        age_days: since planting; None: the planting day is not known.
        change: since the size before; None of the first.
        breakage: the value of the protocol's breakage field on that visit, where it is one that says that something broke off.
    """

    day: date
    age_days: int | None
    size: float
    change: float | None
    breakage: str | None


def sizes(coral: CoralRow, seen: Iterable[SeenRow], protocol: Protocol | None) -> list[Measured]:
    """The sizes of a coral in order of days: that of its planting first, where it is known.

    Args:
        seen: what was settled of it on each visit; only where it was alive a size is its own.
        protocol: names the fields with the roles `size` and `breakage`.
    """
    size, broken = (protocol.with_role(role) if protocol else None for role in ("size", "breakage"))
    planted = day_of(coral["planted_on"])
    told: list[tuple[date, float, str | None]] = []
    first = number(str(coral["said"]["values"].get("size_cm", "")))
    if planted and first is not None:
        told.append((planted, float(first), None))
    for row in seen:
        values, day = row["said"]["values"], day_of(row["day"])
        value = number(str(values.get(size.name))) if size else None
        if row["state"] == "alive" and day and value is not None:
            told.append((day, float(value), _broken(values.get(broken.name)) if broken else None))
    found: list[Measured] = []
    for day, value_, breakage in sorted(told, key=lambda one: one[0]):
        change = value_ - found[-1].size if found else None
        found.append(Measured(day, (day - planted).days if planted else None, value_, change, breakage))
    return found


def _broken(value: Any) -> str | None:
    return value if isinstance(value, str) and value != "none" else None
