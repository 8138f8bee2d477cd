"""What stands on a page: lines, texts and QR codes at their places, in mm from the top left corner. Sizes of type are in pt."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

MM_PER_PT = 25.4 / 72

Width = Callable[[str, float, bool], float]
"""How wide a text is, in mm: the text, its size in pt, whether it is bold."""


@dataclass(frozen=True, slots=True)
class Text:
    """A line of type. `y` is where it stands; `turned`, it runs upwards from its place."""

    x: float
    y: float
    size: float
    text: str
    bold: bool = False
    turned: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    x1: float
    y1: float
    x2: float
    y2: float
    thick: float


@dataclass(frozen=True, slots=True)
class Code:
    """A QR code, as a square; the quiet zone around it is left free by whoever places it."""

    x: float
    y: float
    side: float
    text: str


Mark = Text | Line | Code


@dataclass(frozen=True, slots=True)
class Page:
    """One side of a sheet."""

    width: float
    height: float
    marks: tuple[Mark, ...]


def box(x: float, y: float, width: float, height: float, thick: float) -> list[Mark]:
    """Four lines around a place to write in."""
    right, foot = x + width, y + height
    return [
        Line(x, y, right, y, thick),
        Line(x, foot, right, foot, thick),
        Line(x, y, x, foot, thick),
        Line(right, y, right, foot, thick),
    ]
