"""Where the corals of a plot stand, where their positions say so.

A position is kept as it was noted. Two forms are read as places, both in metres from the plot's marker: `1.2/0.8`, so far to
the right and so far up, and `120° 1.4 m`, a bearing and a distance. Anything else, "7" say, is a name, and tells no place.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

_NUMBER = r"(-?\d{1,4}(?:[.,]\d{1,3})?)"
_ACROSS_AND_UP = re.compile(rf"{_NUMBER}\s*m?\s*[/;]\s*{_NUMBER}\s*m?")
_BEARING = re.compile(rf"(\d{{1,3}}(?:[.,]\d)?)\s*°\s*[,;/]?\s*{_NUMBER}\s*m?")


@dataclass(frozen=True, slots=True)
class Place:
    """In metres, right of the marker and up; by bearings, east of it and north."""

    called: str
    across: float
    up: float


@dataclass(frozen=True, slots=True)
class Chart:
    """The places of a plot, all told in one way."""

    places: tuple[Place, ...]
    north_is_up: bool


def charted(positions: Iterable[tuple[str, str]]) -> Chart | None:
    """The chart of a plot; None where fewer than two positions tell a place, or some are told in one way and some in the other.

    Args:
        positions: what each coral is called on the chart, and its position as noted.
    """
    found = [(called, read) for called, noted in positions if (read := _read(noted))]
    ways = {by_bearing for _, (_, _, by_bearing) in found}
    if len(found) < 2 or len(ways) > 1:
        return None
    return Chart(tuple(Place(called, across, up) for called, (across, up, _) in found), north_is_up=ways.pop())


def _read(noted: str) -> tuple[float, float, bool] | None:
    if across := _ACROSS_AND_UP.fullmatch(noted.strip()):
        return _metres(across[1]), _metres(across[2]), False
    if bearing := _BEARING.fullmatch(noted.strip()):
        turned, far = math.radians(_metres(bearing[1])), _metres(bearing[2])
        return far * math.sin(turned), far * math.cos(turned), True
    return None


def _metres(text: str) -> float:
    return float(text.replace(",", "."))
