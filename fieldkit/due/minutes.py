"""How long a plot takes: what its sessions took before, else the protocol's figure. Pure.

A session tells by the protocol's field of role `minutes`, else by the times of its photos: with k rows photographed, evenly
among all, the first and the last lie (k - 1)/k of the work apart. A camera whose clock is off tells the same. What a session
took is shared among its rows.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from statistics import median
from typing import Literal

from fieldkit.protocol import Effort

USUAL = Effort(Decimal(5), Decimal("1.5"), Decimal(3))
"""Where the protocol says nothing. Chosen by us."""
LEAST_PHOTOS = 3
"""Rows photographed in a session, below which their times tell nothing. Chosen by us."""
SLOWEST, FASTEST = 15.0, 0.1
"""Minutes a row beyond which a clock was put right on the way, or the boat went home between. Chosen by us."""


@dataclass(frozen=True, slots=True)
class Minutes:
    """How long a plot takes, in whole minutes, and how that is known."""

    minutes: int
    known_by: Literal["sessions", "protocol"]


def pace_by_photos(times: Iterable[datetime], rows: int) -> float | None:
    """Minutes a row of a session with so many rows, by when each photographed one was taken; None where they do not tell."""
    taken = sorted(times)
    if len(taken) < LEAST_PHOTOS:
        return None
    span = (taken[-1] - taken[0]).total_seconds() / 60
    return _possible(span * len(taken) / (len(taken) - 1) / rows)


def pace_by_minutes(minutes: Decimal, rows: int) -> float | None:
    """The same from the minutes that were noted."""
    return _possible(float(minutes) / rows)


def _possible(pace: float) -> float | None:
    return pace if FASTEST <= pace <= SLOWEST else None


def minutes_for(*, corals: int, is_visited: bool, hands: int, paces: Sequence[float], effort: Effort) -> Minutes:
    """How long to plan for a plot.

    Args:
        corals: how many are to be looked at.
        is_visited: all of them are looked at; otherwise only those that need a hand.
        paces: minutes a row of the plot's own newest sessions.
    """
    given = hands * effort.minutes_per_hand
    if not is_visited:
        return Minutes(math.ceil(effort.minutes_per_plot + given), "protocol")
    if paces:
        return Minutes(math.ceil(median(paces) * corals + float(given)), "sessions")
    return Minutes(math.ceil(effort.minutes(corals) + given), "protocol")
