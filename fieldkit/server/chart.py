"""Step curves of survival as shapes on a plane: from a group of a survival answer to what a template draws. Pure.

A panel holds both treatments of missing in one frame, so that the gap between them, which is what nobody knows, is seen.
Neither is told by colour alone: *counted as lost* is a solid line with a filled band, *left open* a dashed one whose band is
an outline, and each is named where it ends. Ages are days, shares 0 to 1; positions are units of the panel, y downwards.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain, groupby, pairwise
from typing import Any

WIDTH, HEIGHT = 352, 306
LEFT, RIGHT, TOP, BOTTOM = 42, 258, 24, 212
"""The frame of the plot; right of it stand the names of the curves, below it the ages and the numbers at risk."""

FEW = 10
"""With fewer corals at risk than this a figure is marked. The trade's own habit, no source."""

_NAME_HEIGHT = 34  # two lines of type, so that the names of curves that end close together do not lie over each other
_HEAD = 12  # of the line of type that names the marked age
_TICK_WIDTH = 30  # of a number at risk of four digits, and a gap

TREATMENTS = ("lost", "open")
Point = tuple[float, float]
"""Age in days and share, or where that is on the panel."""


@dataclass(frozen=True)
class Line:
    """One treatment of missing."""

    treatment: str
    steps: str
    """Path of the curve while enough corals are at risk."""
    few: str
    """Path of the rest; empty: there is none."""
    bands: tuple[str, ...]
    """Closed paths between the limits, one for each stretch where both are defined."""
    share: float | None
    """The share that is told for the marked age; None: it is not known."""
    mark: Point | None
    """Where on the curve that is, in units of the panel: at the next age at which it is known."""
    name_y: float
    """Where its name stands: at its end."""
    at_risk: tuple[int, ...]
    """Corals at risk at each age of the panel."""


@dataclass(frozen=True)
class Panel:
    """One group, both treatments."""

    group: Mapping[str, str]
    corals: int
    plots: int
    losses: int
    """Found dead or missing."""
    lines: tuple[Line, ...]
    ages: tuple[tuple[int, float], ...]
    """Ages on the axis, and where they stand."""
    marked: tuple[int, float]
    """The age whose shares are told, and where it stands."""


def shares() -> tuple[tuple[float, float], ...]:
    """The shares that are marked, and where they stand."""
    return tuple((share, _y(share)) for share in (1, 0.75, 0.5, 0.25, 0))


def last_age(groups: Iterable[Mapping[str, Any]]) -> float:
    """The largest age at which anything is known of any of these groups: where their common axis ends."""
    means = (group[f"missing_{treatment}"]["restricted_mean"] for group in groups for treatment in TREATMENTS)
    return max((mean["until"] for mean in means if mean), default=0)


def panel(group: Mapping[str, Any], last: float, marked: int) -> Panel | None:
    """The panel of one group of an answer; None where nothing is known of it.

    Args:
        group: of an answer as people are told it (`reports.survival.as_known`).
        last: the age at which the axis ends.
        marked: the age whose shares are told beside the curves, one of those that the answer gives figures at.
    """
    figures = {treatment: group[f"missing_{treatment}"] for treatment in TREATMENTS}
    if last <= 0 or all(one["restricted_mean"] is None for one in figures.values()):
        return None
    ages = _ages_on_axis([figure["age"] for figure in figures["lost"]["at"]], last)
    lines = [_line(treatment, one, group["corals"], ages, last, marked) for treatment, one in figures.items()]
    return Panel(
        group=group["group"],
        corals=group["corals"],
        plots=group["plots"],
        losses=group["deaths"] + group["missing"],
        lines=tuple(replace(line, name_y=y) for line, y in zip(lines, _apart([line.name_y for line in lines]), strict=True)),
        ages=tuple((age, _x(age, last)) for age in ages),
        marked=(marked, _x(marked, last)),
    )


def _ages_on_axis(asked: Iterable[int], last: float) -> list[int]:
    """Planting, and of the ages asked for those with room beside their neighbours; the later of two that have not."""
    kept: list[int] = []
    for age in sorted((age for age in asked if 0 < age <= last), reverse=True):
        neighbours = [*kept[-1:], 0]
        if all(abs(_x(age, last) - _x(other, last)) >= _TICK_WIDTH for other in neighbours):
            kept.append(age)
    return [0, *reversed(kept)]


def _line(treatment: str, figures: Mapping[str, Any], corals: int, ages: Sequence[int], last: float, marked: int) -> Line:
    mean = figures["restricted_mean"]
    ends = mean["until"] if mean else 0  # nothing is known of it after the planting
    rows = figures["curve"]
    corners = _corners([(age, share) for age, share, *_ in rows], ends)
    few_from = next((age for age, *_, at_risk in rows if at_risk < FEW), None)
    place = len(corners) if few_from is None else corners.index(next(corner for corner in corners if corner[0] == few_from))
    told = next((figure for figure in figures["at"] if figure["age"] == marked), None)
    at_risk = {0: corals, **{figure["age"]: figure["at_risk"] for figure in figures["at"]}}
    return Line(
        treatment=treatment,
        steps=_path(corners[: place + 1], last),
        few=_path(corners[place:], last),
        bands=tuple(_path(edge, last) + "Z" for edge in _edges(rows, ends)),
        share=told["survival"] if told else None,
        mark=(_x(told["known_age"], last), _y(told["survival"])) if told and told["survival"] is not None else None,
        name_y=_y(corners[-1][1]),
        at_risk=tuple(at_risk[age] for age in ages),
    )


def _corners(steps: Iterable[Point], ends: float) -> list[Point]:
    """A staircase from (0, 1): level up to the age of each step, then down to its share, and level to the end."""
    known = [(0.0, 1.0), *steps]
    turns = (((age, before), (age, share)) for (_, before), (age, share) in pairwise(known))
    return [known[0], *chain.from_iterable(turns), (ends, known[-1][1])]


def _edges(rows: Sequence[Sequence[Any]], ends: float) -> Iterator[list[Point]]:
    """For each stretch where both limits are defined: along the upper one, and back along the lower."""
    ages = [*(row[0] for row in rows), ends]
    spans = [(span, row[2], row[3]) for span, row in zip(pairwise(ages), rows, strict=True)]
    for defined, stretch in groupby(spans, key=lambda span: span[1] is not None and span[2] is not None):
        if defined:
            kept = list(stretch)
            upper = [(age, high) for (ages, _, high) in kept for age in ages]
            lower = [(age, low) for (ages, low, _) in kept for age in ages]
            yield upper + lower[::-1]


def _path(points: Sequence[Point], last: float) -> str:
    if len(points) < 2:
        return ""
    return "M" + "L".join(f"{_x(age, last):.1f} {_y(share):.1f}" for age, share in points)


def _x(age: float, last: float) -> float:
    return round(LEFT + age / last * (RIGHT - LEFT), 1)


def _y(share: float) -> float:
    return round(TOP + (1 - share) * (BOTTOM - TOP), 1)


def _apart(heights: Sequence[float]) -> tuple[float, float]:
    """Two names at their heights, or as far apart as they need and no further, within the frame and below the marked age."""
    top = TOP + _HEAD
    upper, lower = (min(max(height, top), BOTTOM) for height in sorted(heights))
    short = max(_NAME_HEIGHT - (lower - upper), 0)
    upper = min(max(upper - short / 2, top), BOTTOM - _NAME_HEIGHT)
    lower = max(lower, upper + _NAME_HEIGHT)
    return (upper, lower) if heights[0] <= heights[1] else (lower, upper)
