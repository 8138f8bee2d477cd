"""Shapes of the answers that are no curves: causes stacked, ratios with their limits. Pure; positions as in `chart`."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from string import ascii_uppercase

from fieldkit.reports.causes import Lost

WIDTH, HEIGHT = 352, 240
LEFT, RIGHT, TOP, BOTTOM = 42, 330, 12, 200
"""The frame of the stacks."""
_GAP = 8  # between two stacks
_LEAST_LETTER = 11  # a part lower than a line of type gets no letter; the table has it

RATIO_WIDTH, RATIO_HEIGHT = 120, 16
_MOST_RATIO = 8  # the scale runs from an eighth to eight times as many; what lies beyond ends in an arrow


@dataclass(frozen=True)
class Part:
    """One cause at one age: a block of a stack."""

    cause: str
    letter: str
    shade: int
    """Which of the colours it has, from 1."""
    y: float
    height: float
    has_room: bool
    """For its letter."""


@dataclass(frozen=True)
class Stack:
    """All that had become of the corals by an age."""

    age: int
    x: float
    width: float
    parts: tuple[Part, ...]
    survival_y: float
    """Below it: the share that lives."""


@dataclass(frozen=True)
class Ratio:
    """A ratio and its limits on a scale of doublings."""

    low: float
    at: float
    high: float
    goes_on_low: bool
    goes_on_high: bool


def letters(causes: Sequence[str]) -> Mapping[str, str]:
    """A letter for each cause, so that colour is never the only sign."""
    return {cause: ascii_uppercase[i % len(ascii_uppercase)] for i, cause in enumerate(causes)}


def stacks(lost: Lost, causes: Sequence[str]) -> tuple[Stack, ...]:
    """The causes stacked from the top, a stack for each age; below them what lives."""
    width = (RIGHT - LEFT) / max(len(lost.at), 1)
    letter = letters(causes)
    made = []
    for place, at in enumerate(lost.at):
        y, parts = float(TOP), []
        for shade, cause in enumerate(causes, 1):
            height = at.causes[cause].share * (BOTTOM - TOP) if cause in at.causes else 0.0
            if height > 0:
                parts.append(Part(cause, letter[cause], shade, round(y, 1), round(height, 1), height >= _LEAST_LETTER))
            y += height
        made.append(Stack(at.age, round(LEFT + place * width + _GAP / 2, 1), round(width - _GAP, 1), tuple(parts), round(y, 1)))
    return tuple(made)


def shares() -> tuple[tuple[float, float], ...]:
    """The shares that are marked, and where they stand."""
    return tuple((share, TOP + (1 - share) * (BOTTOM - TOP)) for share in (1, 0.75, 0.5, 0.25, 0))


def ratio(lower: float | None, value: float | None, upper: float | None) -> Ratio | None:
    """Where a ratio and its limits lie; None where it is not known."""
    if value is None:
        return None
    low, high = (_place(end) for end in (lower or 0.0, math.inf if upper is None else upper))
    return Ratio(max(low, 0), min(max(_place(value), 0), RATIO_WIDTH), min(high, RATIO_WIDTH), low < 0, high > RATIO_WIDTH)


def _place(value: float) -> float:
    if value <= 0:
        return -1.0
    if math.isinf(value):
        return RATIO_WIDTH + 1.0
    return round(RATIO_WIDTH / 2 * (1 + math.log(value) / math.log(_MOST_RATIO)), 1)
