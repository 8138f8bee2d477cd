"""The chart of a plot: each coral's number at its place, a scale, and north where it is known. Pure."""

from __future__ import annotations

import math
from collections.abc import Iterator

from fieldkit.slates.marks import MM_PER_PT, Line, Mark, Text, Width, box
from fieldkit.slates.places import Chart

_EDGE = 3.5  # mm between the outermost numbers and the frame
_FOOT = 5.0  # mm for the scale
_MARKER = 1.2  # mm from the middle of the cross to its ends


def chart_marks(chart: Chart, x: float, y: float, side: float, size: float, width: Width) -> Iterator[Mark]:
    """The chart in a square. Across and up have one scale; the cross is the plot's marker."""
    yield from box(x, y, side, side, 0.2)
    across = [0.0, *(place.across for place in chart.places)]
    up = [0.0, *(place.up for place in chart.places)]
    span = max(max(across) - min(across), max(up) - min(up), 0.1)
    scale = (side - 2 * _EDGE - _FOOT) / span
    left = x + side / 2 - (max(across) + min(across)) / 2 * scale
    foot = y + (side - _FOOT) / 2 + (max(up) + min(up)) / 2 * scale
    yield Line(left - _MARKER, foot, left + _MARKER, foot, 0.35)
    yield Line(left, foot - _MARKER, left, foot + _MARKER, 0.35)
    for place in chart.places:
        wide = width(place.called, size, True)
        middle = foot - place.up * scale + size * MM_PER_PT * 0.36
        yield Text(left + place.across * scale - wide / 2, middle, size, place.called, bold=True)
    yield from _scale(x, y + side, span, scale, size)
    if chart.north_is_up:
        yield from _north(x + side, y + side, size)


def _scale(x: float, foot: float, span: float, scale: float, size: float) -> Iterator[Mark]:
    """A line as long as a round number of metres: 1, 2 or 5 of some power of ten, about a third of the chart."""
    power = 10.0 ** math.floor(math.log10(span / 2))
    metres = max(one for one in (power, 2 * power, 5 * power) if one <= span / 2)
    end = x + 1.5 + metres * scale
    yield Line(x + 1.5, foot - 1.5, end, foot - 1.5, 0.5)
    yield Text(end + 1, foot - 1, size, f"{metres:g} m")


def _north(right: float, foot: float, size: float) -> Iterator[Mark]:
    stem = right - 2
    yield Line(stem, foot - 1, stem, foot - 6, 0.35)
    yield Line(stem, foot - 6, stem - 1, foot - 4.5, 0.35)
    yield Line(stem, foot - 6, stem + 1, foot - 4.5, 0.35)
    yield Text(stem - 4, foot - 1, size, "N", bold=True)
