"""Which coral a misread tag was meant for: a suggestion, with a probability and its reason in words. Pure, no part of the
state.

The corals that a session did not read, though its plot holds them, are matched to the readings that fit none, all at once,
so that one coral is not offered twice (the assignment of least cost; `scipy.optimize.linear_sum_assignment`). How well a
reading fits a coral is how likely its tag is noted so (an edit distance whose substitutions are the glyphs that are
confused under water and on wet paper), times how much better than any other coral it fits by its place on the slate, its
state, and what was measured of it. A coral of another plot of the site that wears the very tag may have been meant, too: then
the tag is right and the plot is wrong. The probability weighs what a reading may be against each other and against "none of
these". Measured by `scripts/bench/settle.py`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import exp, log, pi, sqrt
from typing import Any

import numpy as np
import scipy

from fieldkit.register.names import CONFUSED, folded

_ALIKE = {(a, b) for glyphs in CONFUSED for a in glyphs for b in glyphs if a != b}

# How often, a glyph read: rightly; as one that looks like it; unreadable (?, . or a blank); as any other; swapped with its
# neighbour; left out or put in. Chosen by us and checked on simulated slates.
_RIGHT, _LOOKS_ALIKE, _UNREADABLE, _OTHER, _SWAPPED, _GAP = 0.96, 0.02, 0.05, 0.001, 0.004, 0.002
_UNREAD = set("?._-")

# How often a tag stands for a coral that is none of those that were not read, or is that of a neighbour, whose plate was read.
# And of a tag that stands twice, how much weighs that its coral was truly read twice, or anything else. Of the values that were
# tried on simulated slates those are kept under which the probabilities were nearest to the shares that were right.
_NONE_OF_THESE = 1e-5
_WRONG_PLATE = 1e-8
_TRULY_TWICE = 2.0

# How often a row is of a coral of another plot: by itself, and where another row of the slate names a coral of that plot, too.
# How much likelier that is where nobody read that coral in its own plot, though it was visited, and where somebody did. Chosen
# by us and checked in the same way.
_ASTRAY, _ASTRAY_TOGETHER = 0.001, 0.4
_THERE: Mapping[bool | None, float] = {False: 5.0, True: 0.5, None: 1.0}

_MATCH, _MISMATCH = 3.0, 0.3
"""How much likelier a coral is where the position or genotype noted is its own, and where it is another."""
_PER_PLACE = 0.3
"""How much less likely it is for each place that it stands off the two rows around the reading."""
_WIDE_TAIL, _WILD_RANGE = 0.05, 12.0
"""How often a number is wild (a broken coral, a slip of the pencil), and over how many spreads it then lies anywhere."""

# How much likelier a state is to be noted of a coral by the state in which it was last seen than of any coral. Chosen by us.
_STATES = {
    ("alive", "alive"): 1.2, ("alive", "dead"): 0.5, ("alive", "missing"): 0.5,
    ("dead", "alive"): 0.02, ("dead", "dead"): 5.0, ("dead", "missing"): 3.0,
    ("missing", "alive"): 0.1, ("missing", "dead"): 1.0, ("missing", "missing"): 6.0,
}  # fmt: skip

LEAST = 0.35
"""A suggestion less likely than this helps nobody. Chosen by us."""
TIE = 0.5
"""From this share of the first one's probability on the second is named beside it."""


@dataclass(frozen=True, slots=True)
class Spread:
    """How a number keeps from visit to visit, and how it varies from coral to coral."""

    change: float
    around_change: float
    middle: float
    around_middle: float


@dataclass(frozen=True, slots=True)
class Candidate:
    """A coral of the plot that the session did not read."""

    coral: str
    tag: str | None
    position: str | None = None
    genotype: str | None = None
    place: float | None = None
    """In the order in which the plot is swum."""
    state: str | None = None
    """As last seen."""
    numbers: Mapping[str, float] = field(default_factory=dict)
    """What was last measured, by field."""
    elsewhere: str | None = None
    """The name of the plot in which it stands, where that is another one of the site."""
    read_there: bool | None = None
    """Whether it was read in that plot on the same visit; None: the plot was not visited."""

    @property
    def name(self) -> str:
        return self.tag or self.position or ""


@dataclass(frozen=True, slots=True)
class Misread:
    """A reading that fits no coral of its plot, or one of two that fit the same."""

    matter: str
    digest: str
    noted: str
    position: str | None = None
    genotype: str | None = None
    beside: tuple[Candidate, ...] = ()
    """The corals on the rows before and after it, as far as they are known and have a place."""
    state: str | None = None
    numbers: Mapping[str, float] = field(default_factory=dict)
    anothers: Candidate | None = None
    """The coral whose tag it bears, where that was read twice."""


@dataclass(frozen=True, slots=True)
class Suggestion:
    """The coral that was most likely meant, and by which reading."""

    digest: str
    coral: str
    probability: float
    why: tuple[str, ...]
    """Keys of the reasons: `settle.because_…`."""
    data: Mapping[str, Any] = field(default_factory=dict)


def suggest(
    readings: Sequence[Misread], candidates: Sequence[Candidate], spreads: Mapping[str, Spread] | None = None
) -> dict[str, Suggestion]:
    """The most likely coral for each matter, no coral twice; none where nothing is likely.

    Args:
        readings: of one session in one plot.
        candidates: the corals of that plot that it did not read, and those of other plots that wear one of the tags noted.
        spreads: of the numbers that tell corals apart, how they keep.
    """
    if not readings or not candidates:
        return {}
    astray = Counter(one.elsewhere for one in candidates for reading in readings if _is_called(reading, one))
    likelihood = np.array([[_likelihood(reading, one, spreads or {}, astray) for one in candidates] for reading in readings])
    of_matter: dict[str, list[int]] = {}
    for row, reading in enumerate(readings):
        of_matter.setdefault(reading.matter, []).append(row)
    together = np.array([likelihood[rows].sum(axis=0) for rows in of_matter.values()])
    found = {}
    for place, column in zip(*scipy.optimize.linear_sum_assignment(-np.log(together + 1e-300)), strict=True):
        matter = list(of_matter)[place]
        best = max(of_matter[matter], key=lambda row: likelihood[row, column])
        probability = together[place] / (together[place].sum() + _none(readings[best]))
        if probability[column] >= LEAST:
            found[matter] = _suggestion(readings[best], candidates, probability, int(column))
    return found


def _none(reading: Misread) -> float:
    """The likelihood that a reading is of none of the candidates: of a coral nobody planted, or truly of the one it names."""
    return _NONE_OF_THESE if reading.anothers is None else _TRULY_TWICE


def _likelihood(
    reading: Misread, candidate: Candidate, spreads: Mapping[str, Spread], astray: Mapping[str | None, int]
) -> float:
    """`astray`: by the name of another plot, how many readings name one of its corals."""
    fit = _fit(reading, candidate, spreads)
    if candidate.elsewhere is not None:
        if not _is_called(reading, candidate):
            return 0.0
        often = _ASTRAY if astray[candidate.elsewhere] == 1 else _ASTRAY_TOGETHER
        return often * _THERE[candidate.read_there] * exp(-_cost(folded(reading.noted), folded(candidate.tag or ""))) * fit
    if reading.anothers is not None:
        return fit / _fit(reading, reading.anothers, spreads)
    chance = exp(-_cost(folded(reading.noted), folded(candidate.tag))) if candidate.tag else 0.0
    return (chance + _WRONG_PLATE) * fit


def _is_called(reading: Misread, candidate: Candidate) -> bool:
    """Whether a reading has the very tag of a coral."""
    return candidate.tag is not None and folded(reading.noted) == folded(candidate.tag)


def _fit(reading: Misread, coral: Candidate, spreads: Mapping[str, Spread]) -> float:
    """How much likelier a coral is than any by all that stands beside the tag."""
    fit: float = _STATES.get((coral.state or "", reading.state or ""), 1.0) * _PER_PLACE ** _places_off(reading, coral)
    for noted, known in ((reading.position, coral.position), (reading.genotype, coral.genotype)):
        if noted is not None and known is not None:
            fit *= _MATCH if folded(noted) == folded(known) else _MISMATCH
    for name in reading.numbers.keys() & coral.numbers.keys() & spreads.keys():
        fit *= _alike(reading.numbers[name], coral.numbers[name], spreads[name])
    return fit


def _places_off(reading: Misread, coral: Candidate) -> float:
    """How many places a coral stands outside the stretch between the rows around the reading."""
    around = [one.place for one in reading.beside if one.place is not None]
    if not around or coral.place is None:
        return 0.0
    low, high = (min(around), max(around)) if len(around) > 1 else (around[0] - 1, around[0] + 1)
    return max(low - coral.place, coral.place - high, 0.0)


def _alike(now: float, before: float, spread: Spread) -> float:
    """How much likelier a number is of a coral that had that number than of any; wild ones may be of any coral."""
    wild = _WIDE_TAIL / (_WILD_RANGE * spread.around_middle)
    own = _density(now - before, spread.change, spread.around_change)
    return ((1 - _WIDE_TAIL) * own + wild) / ((1 - _WIDE_TAIL) * _density(now, spread.middle, spread.around_middle) + wild)


def _density(value: float, middle: float, around: float) -> float:
    return exp(-(((value - middle) / around) ** 2) / 2) / (around * sqrt(2 * pi))


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


def _suggestion(reading: Misread, candidates: Sequence[Candidate], probability: Any, column: int) -> Suggestion:
    chosen = candidates[column]
    others = [(float(probability[i]), one) for i, one in enumerate(candidates) if i != column]
    rival = max(others, key=lambda other: other[0], default=(0.0, chosen))
    is_one_of_several = any(one.elsewhere is None for _, one in others)
    absent = "settle.because_absent" if is_one_of_several else "settle.because_absent_alone"
    why = _astray_because(chosen) or [absent, *_reasons(reading, chosen)]
    if rival[0] >= TIE * probability[column]:
        why.append("settle.because_tie")
    names = [one.name for one in reading.beside]
    data = {"noted": reading.noted, "tag": chosen.name, "other": _in_full(rival[1]), "before": names[0] if names else "",
            "after": names[-1] if names else "", "plot": chosen.elsewhere or ""}  # fmt: skip
    return Suggestion(reading.digest, chosen.coral, float(probability[column]), tuple(why), data)


def _in_full(one: Candidate) -> str:
    return f"{one.name} ({one.elsewhere})" if one.elsewhere else one.name


def _astray_because(chosen: Candidate) -> list[str]:
    """Why a row is taken to be of a coral of another plot; none of one in its own."""
    if chosen.elsewhere is None:
        return []
    return ["settle.because_elsewhere", *(["settle.because_unread_there"] if chosen.read_there is False else [])]


def _reasons(reading: Misread, chosen: Candidate) -> list[str]:
    reasons = []
    noted, worn = folded(reading.noted), folded(chosen.tag or "")
    different = [pair for pair in zip(noted, worn, strict=False) if pair[0] != pair[1]] if len(noted) == len(worn) else []
    if different and all(read in _UNREAD for read, _ in different):
        reasons.append("settle.because_unreadable")
    elif different and all(pair in _ALIKE for pair in different):
        reasons.append("settle.because_alike")
    elif len(different) == 2 and different[0] == different[1][::-1]:
        reasons.append("settle.because_swapped")
    if reading.position and chosen.position and folded(reading.position) == folded(chosen.position):
        reasons.append("settle.because_position")
    if len(reading.beside) == 2 and chosen.place is not None and not _places_off(reading, chosen):
        reasons.append("settle.because_between")
    return reasons
