"""Which coral a misread tag was meant for: a suggestion, with a probability and its reason in words. Pure, and no part of
the state.

The corals that a session did not read, though its plot holds them, are matched to the readings that fit none, all at once,
so that one coral is not offered twice (the assignment of least cost; `scipy.optimize.linear_sum_assignment`). What a pair
costs is how unlikely the noted tag is for the tag worn: an edit distance whose substitutions are the glyphs that are
confused under water and on wet paper. The probability weighs a reading's candidates against each other and against "none of
these".
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import exp, log
from typing import Any

import numpy as np
from scipy.optimize import linear_sum_assignment

from fieldkit.register.names import folded

# Glyphs that are taken for each other, with the reason; whoever reads is also a witness. Common practice, no source.
CONFUSED = (
    ("0odq", "round"),
    ("1il7|", "a stroke"),
    ("2z", "the same bends"),
    ("5s", "the same bends"),
    ("6g", "an open loop"),
    ("8b3", "two loops"),
    ("4a", "a crossed stroke"),
    ("69", "upside down"),
)
_ALIKE = {(a, b) for glyphs, _ in CONFUSED for a in glyphs for b in glyphs if a != b}

# How often, a glyph read: rightly; as one that looks like it; unreadable (?, . or a blank); as any other; swapped with its
# neighbour; left out or put in. Chosen by us; the sample programme's planted misreads score them.
_RIGHT, _LOOKS_ALIKE, _UNREADABLE, _OTHER, _SWAPPED, _GAP = 0.96, 0.02, 0.05, 0.001, 0.004, 0.002
_UNREAD = set("?._-")
_NONE_OF_THESE = 1e-6
_MATCH_FACTOR = 3.0
_MISMATCH_FACTOR = 0.3


@dataclass(frozen=True, slots=True)
class Candidate:
    """A coral of the plot that the session did not read."""

    coral: str
    tag: str | None
    position: str | None
    genotype: str | None = None


@dataclass(frozen=True, slots=True)
class Misread:
    """A reading that fits no coral of its plot."""

    digest: str
    noted: str
    position: str | None = None
    genotype: str | None = None


@dataclass(frozen=True, slots=True)
class Suggestion:
    """The coral that was most likely meant."""

    coral: str
    probability: float
    why: tuple[str, ...]
    """Keys of the reasons: `settle.because_…`."""
    data: Mapping[str, Any] = field(default_factory=dict)


def suggest(readings: Sequence[Misread], candidates: Sequence[Candidate]) -> dict[str, Suggestion]:
    """The most likely coral of each reading, no coral twice; none where "none of these" is likelier.

    Args:
        readings: of one session in one plot.
        candidates: the corals of that plot that it did not read.
    """
    if not readings or not candidates:
        return {}
    likelihood = np.array([[_likelihood(reading, candidate) for candidate in candidates] for reading in readings])
    rows, columns = linear_sum_assignment(-np.log(likelihood + 1e-300))
    found = {}
    for row, column in zip(rows.tolist(), columns.tolist(), strict=True):
        probability = float(likelihood[row, column] / (likelihood[row].sum() + _NONE_OF_THESE))
        if probability >= 0.5:
            reading, candidate = readings[row], candidates[column]
            found[reading.digest] = Suggestion(
                candidate.coral,
                probability,
                _reasons(reading, candidate, alone=len(candidates) == 1),
                {"noted": reading.noted, "tag": candidate.tag or candidate.position or ""},
            )
    return found


def _likelihood(reading: Misread, candidate: Candidate) -> float:
    chance = exp(-_cost(folded(reading.noted), folded(candidate.tag))) if candidate.tag else _NONE_OF_THESE
    for noted, known in ((reading.position, candidate.position), (reading.genotype, candidate.genotype)):
        if noted is not None and known is not None:
            chance *= _MATCH_FACTOR if folded(noted) == folded(known) else _MISMATCH_FACTOR
    return chance


def _cost(noted: str, worn: str) -> float:
    """Minus the logarithm of how likely a worn tag is noted so: an edit distance with neighbours swapped (Damerau)."""
    gap = -log(_GAP)
    above: list[float] = []
    row = [gap * i for i in range(len(noted) + 1)]
    for i, glyph in enumerate(worn, 1):
        before, above, row = above, row, [gap * i]
        for j, read in enumerate(noted, 1):
            cost = min(above[j - 1] - log(_chance(read, glyph)), above[j] + gap, row[j - 1] + gap)
            if i > 1 and j > 1 and read == worn[i - 2] and noted[j - 2] == glyph and read != glyph:
                cost = min(cost, before[j - 2] - log(_SWAPPED))
            row.append(cost)
    return row[-1]


def _chance(read: str, glyph: str) -> float:
    if read == glyph:
        return _RIGHT
    if read in _UNREAD:
        return _UNREADABLE
    return _LOOKS_ALIKE if (read, glyph) in _ALIKE else _OTHER


def _reasons(reading: Misread, candidate: Candidate, *, alone: bool) -> tuple[str, ...]:
    reasons = ["settle.because_absent_alone" if alone else "settle.because_absent"]
    noted, worn = folded(reading.noted), folded(candidate.tag or "")
    if len(noted) == len(worn) and noted != worn:
        different = [(read, glyph) for read, glyph in zip(noted, worn, strict=True) if read != glyph]
        if all(read in _UNREAD for read, _ in different):
            reasons.append("settle.because_unreadable")
        elif all(pair in _ALIKE for pair in different):
            reasons.append("settle.because_alike")
        elif len(different) == 2 and different[0] == different[1][::-1]:
            reasons.append("settle.because_swapped")
    if reading.position and candidate.position and folded(reading.position) == folded(candidate.position):
        reasons.append("settle.because_position")
    return tuple(reasons)
