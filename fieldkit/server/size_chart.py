"""The sizes of one coral as shapes on a plane: from what was measured to what a template draws. Pure.

Growth is a solid line, shrinking a dashed one with its amount beside it, a visit on which something had broken off a crossed
ring: none is told by colour alone. Positions are units of the picture, y downwards.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from fieldkit.reports.corals import Measured

WIDTH, HEIGHT = 352, 236
LEFT, RIGHT, TOP, BOTTOM = 40, 336, 18, 196

_DAYS_PER_MONTH = 365.25 / 12
_MONTHS = (1, 3, 6, 12, 24, 60, 120)
_MOST_TICKS = 6
_STEPS = (0.5, 1, 2, 5, 10, 20, 50, 100, 200)


@dataclass(frozen=True)
class Mark:
    """One size, and its change since the one before; `is_end` of the first and the last."""

    x: float
    y: float
    size: float
    change: float | None
    broken: bool
    is_end: bool


@dataclass(frozen=True)
class Stretch:
    """From one size to the next."""

    path: str
    shrinks: bool


@dataclass(frozen=True)
class Curve:
    """A coral's sizes. `months` and `heights` are the ticks of the axes, each with where it stands."""

    marks: tuple[Mark, ...]
    stretches: tuple[Stretch, ...]
    months: tuple[tuple[int, float], ...]
    heights: tuple[tuple[float, float], ...]

    @property
    def explains(self) -> bool:
        """Whether anything on it needs a word of explanation."""
        return any(stretch.shrinks for stretch in self.stretches) or any(mark.broken for mark in self.marks)


def curve(sizes: Sequence[Measured]) -> Curve | None:
    """The picture of these sizes, in order of days; None where there are fewer than two: one is no curve."""
    if len(sizes) < 2:
        return None
    first = sizes[0]
    start = first.age_days or 0
    days = [(one.day - first.day).days + start for one in sizes]
    last = max(days[-1], 1)
    top = _rounded_up(max(one.size for one in sizes))
    points = [(_x(day, last), _y(one.size, top)) for day, one in zip(days, sizes, strict=True)]
    marks = (
        Mark(*point, one.size, one.change, one.breakage is not None, place in (0, len(sizes) - 1))
        for place, (point, one) in enumerate(zip(points, sizes, strict=True))
    )
    stretches = (Stretch(f"M{x:.1f} {y:.1f}L{to_x:.1f} {to_y:.1f}", to_y > y) for (x, y), (to_x, to_y) in pairwise(points))
    months = next(
        step for step in (*_MONTHS, _MONTHS[-1]) if last / _DAYS_PER_MONTH / step <= _MOST_TICKS or step == _MONTHS[-1]
    )
    return Curve(
        tuple(marks),
        tuple(stretches),
        tuple((month, _x(month * _DAYS_PER_MONTH, last)) for month in range(0, int(last / _DAYS_PER_MONTH) + 1, months)),
        tuple((height, _y(height, top)) for height in _heights(top)),
    )


def _rounded_up(size: float) -> float:
    """The upper end of the axis: the next whole step above the largest size."""
    step = _step(size)
    return step * (int(size / step) + 1)


def _step(size: float) -> float:
    return next((step for step in _STEPS if size / step <= _MOST_TICKS), _STEPS[-1])


def _heights(top: float) -> list[float]:
    step = _step(top)
    return [step * n for n in range(int(top / step) + 1)]


def _x(days: float, last: float) -> float:
    return round(LEFT + days / last * (RIGHT - LEFT), 1)


def _y(size: float, top: float) -> float:
    return round(BOTTOM - size / top * (BOTTOM - TOP), 1)
