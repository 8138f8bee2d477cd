"""The papers that slates are printed on, by what a printer calls them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Paper:
    """A sheet standing upright, in mm."""

    width: float
    height: float


# A4 and its half, A5: ISO 216. Letter, 8.5 x 11 inches, and its half: ANSI/ASME Y14.1.
PAPERS: Mapping[str, Paper] = {
    "a4": Paper(210, 297),
    "letter": Paper(215.9, 279.4),
    "a4-half": Paper(148, 210),
    "letter-half": Paper(139.7, 215.9),
}
