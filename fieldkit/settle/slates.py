"""Whether two sessions are one paper slate, typed twice. Pure, in whole numbers: the answer is part of the state.

A double (two people saw one coral) is evidence about observers, a slate typed twice is evidence about typing; only the first
may enter a measure of agreement. The two are told apart as records are linked: by a sum over fields of log2(m / u) where they
are equal and log2((1 - m) / (1 - u)) where they are not, m being how often a field is equal when one slate is typed twice, u
how often two people who looked for themselves put down the same. (In the manner of Fellegi & Sunter 1969, J. Am. Stat. Assoc.
64:1183-1210, from memory.) Equal order of tags weighs nothing: both swam the same line.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from itertools import combinations
from math import log2
from typing import Any

MIN_SHARED_ROWS = 4
"""Fewer rows in common say too little, whatever their values. Chosen by us."""

THRESHOLD = 20_000
"""Thousandths of a bit: odds of about a million to one before the question is put. Chosen by us; it must never cry wolf."""

# How often a field is equal, by its kind, when one slate is typed twice (m) and when two people looked (u). Chosen by us from
# what divers tell: sizes to the millimetre are hardly ever equal by chance, conditions nearly always. Common practice, no source.
_TYPED_TWICE = 0.99
_TWO_LOOKED = {"number": 0.15, "percent": 0.35, "choice": 0.9, "choices": 0.85, "tally": 0.6, "flag": 0.9, "text": 0.02}
_SAME_RECORDER = 3_000
_OTHER_RECORDER = -20_000


def _thousandths(two_looked: float) -> tuple[int, int]:
    equal = log2(_TYPED_TWICE / two_looked)
    unequal = log2((1 - _TYPED_TWICE) / (1 - two_looked))
    return round(1000 * equal), round(1000 * unequal)


_WEIGHTS = {kind: _thousandths(two_looked) for kind, two_looked in _TWO_LOOKED.items()}


def evidence(
    one: Mapping[str, Mapping[str, Any]],
    other: Mapping[str, Mapping[str, Any]],
    kinds: Mapping[str, str],
    recorders: tuple[str | None, str | None],
) -> int:
    """How much speaks for one slate typed twice, in thousandths of a bit; negative speaks for two people who looked.

    Args:
        one, other: of each session, what stands in each row, by what was noted of the coral (plot and tag, or position).
        kinds: the kind of each of the protocol's fields; `note` counts as text.
        recorders: who noted, as the two sessions say.
    """
    total = 0
    for noted in one.keys() & other.keys():
        for name in one[noted].keys() & other[noted].keys() & kinds.keys():
            equal, unequal = _WEIGHTS[kinds[name]]
            total += equal if one[noted][name] == other[noted][name] else unequal
    if None not in recorders:
        total += _SAME_RECORDER if recorders[0] == recorders[1] else _OTHER_RECORDER
    return total


def sharing(noted: Mapping[str, Collection[str]]) -> list[tuple[str, str]]:
    """Pairs of sessions that noted enough of the same corals to be compared; each pair sorted, all pairs sorted.

    Args:
        noted: session id to what it noted its corals as.
    """
    there = {id_: set(corals) for id_, corals in noted.items()}
    return [(one, other) for one, other in combinations(sorted(there), 2) if len(there[one] & there[other]) >= MIN_SHARED_ROWS]


def typed_twice(
    pairs: Iterable[tuple[str, str]],
    rows: Mapping[str, Mapping[str, Mapping[str, Any]]],
    kinds: Mapping[str, str],
    recorders: Mapping[str, str | None],
) -> list[tuple[str, str]]:
    """Those of the pairs that look like one slate.

    Args:
        pairs: as `sharing` gives them.
        rows: session id to its rows (as in `evidence`).
        recorders: session id to who noted.
    """
    return [
        (one, other)
        for one, other in pairs
        if evidence(rows[one], rows[other], kinds, (recorders.get(one), recorders.get(other))) >= THRESHOLD
    ]
