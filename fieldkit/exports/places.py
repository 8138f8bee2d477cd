"""Where a site lies, as exactly as it may be told outside the programme.

A place is generalised, never jittered: its coordinates are rounded to a grid, and what that adds to their uncertainty is said
with them. The grain is one of the steps of Chapman (2020), Current Best Practices for Generalizing Sensitive Species Occurrence
Data, GBIF, doi:10.15468/doc-5jp4-5g10.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any, Literal, TypeAlias

from fieldkit.protocol import number

Grain: TypeAlias = Literal["exact", "0.001", "0.01", "0.1", "none"]

GRAINS: tuple[Grain, ...] = ("0.01", "0.001", "0.1", "exact", "none")
"""The usual one first: 0.01 degrees leave a reef findable on a map and its corals not. Chosen by us."""

_METRES_A_DEGREE = 111_195  # of a great circle: 2 pi / 360 of the mean radius of the Earth, 6 371 009 m (IUGG)


@dataclass(frozen=True)
class Position:
    """Where something is, WGS 84.

    Attributes:
        latitude, longitude: decimal degrees, as exact as they are told.
        uncertainty_m: radius of the circle in which it lies; None: nobody knows. What the rounding adds is in it.
        grain: how far it was rounded.
    """

    latitude: Decimal
    longitude: Decimal
    uncertainty_m: int | None
    grain: Grain


def position(site: Mapping[str, Any], grain: Grain) -> Position | None:
    """Where a registered site is; None where its position is not known or not to be told."""
    latitude, longitude = number(site.get("latitude")), number(site.get("longitude"))
    if latitude is None or longitude is None or grain == "none":
        return None
    known = number(site.get("uncertainty_m"))
    if grain == "exact":
        return Position(latitude, longitude, None if known is None else math.ceil(known), grain)
    step = Decimal(grain)
    rounded = latitude.quantize(step, ROUND_HALF_EVEN), longitude.quantize(step, ROUND_HALF_EVEN)
    return Position(*rounded, math.ceil(float(known or 0) + half_a_cell(float(latitude), float(step))), grain)


def placed(sites: Iterable[Mapping[str, Any]], grain: Grain) -> list[tuple[Mapping[str, Any], Position]]:
    """The sites whose position is told, by name."""
    ordered = sorted(sites, key=lambda said: str(said.get("name", "")))
    return [(site, where) for site in ordered if (where := position(site, grain))]


def half_a_cell(latitude: float, step: float) -> float:
    """Half the diagonal of a cell of the grid, in metres: as far as rounding can move a place.

    Args:
        latitude: in degrees; cells are narrower towards the poles.
        step: of the grid, in degrees.
    """
    north = step / 2 * _METRES_A_DEGREE
    return math.hypot(north, north * math.cos(math.radians(latitude)))
