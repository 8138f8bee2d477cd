"""What is left of a nursery lot, and what was lost of it: reckoned from its counts and from what was planted out. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from fieldkit.protocol.number import whole

Planted = tuple[str | None, int]
"""A planting day (ISO 8601; None: not known), and how many of the lot were planted on it."""


@dataclass(frozen=True, slots=True)
class Counted:
    """A lot as it was counted on a day: all fragments, and those of plantable size (None: not said)."""

    day: str
    count: int
    ready: int | None


@dataclass(frozen=True, slots=True)
class Stock:
    """A lot today.

    Attributes:
        counted: how it was counted last.
        planted: how many of it were planted out, ever.
        planted_since: of them, since it was counted last.
        lost: fragments that were gone from one count to the next without having been planted.
    """

    counted: Counted
    planted: int
    planted_since: int
    lost: int

    @property
    def left(self) -> int:
        """Fragments that should be there; below 0 more were planted than there were."""
        return self.counted.count - self.planted_since

    @property
    def ready(self) -> int | None:
        return None if self.counted.ready is None else self.counted.ready - self.planted_since


def counts(said: Iterable[Mapping[str, Any]]) -> list[Counted]:
    """The counts of a lot, in order of days.

    Args:
        said: what was said of the lot, the oldest first. Another day is another count; the same day mends it.
    """
    by_day: dict[str, Counted] = {}
    for values in said:
        day, count, ready = values.get("day"), whole(values.get("count")), whole(values.get("ready"))
        if isinstance(day, str) and count is not None:
            by_day[day] = Counted(day, count, ready)
    return [by_day[day] for day in sorted(by_day)]


def stock(counted: Sequence[Counted], planted: Sequence[Planted]) -> Stock | None:
    """A lot today; None where nobody has counted it.

    What was planted on the day of a count was taken before it: a count says what is left for the next day. Chosen by us.
    What was planted on a day that is not known counts as before.
    """
    if not counted:
        return None
    lost = sum(
        max(0, one.count - _between(planted, one.day, following.day) - following.count) for one, following in pairwise(counted)
    )
    newest = counted[-1]
    return Stock(newest, sum(n for _, n in planted), _between(planted, newest.day, None), lost)


def _between(planted: Iterable[Planted], after: str, until: str | None) -> int:
    return sum(n for day, n in planted if day is not None and after < day and (until is None or day <= until))
