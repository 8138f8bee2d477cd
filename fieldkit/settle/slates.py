"""Whether two sessions are one paper slate, typed twice. Pure, in whole numbers: the answer is part of the state.

A double (two people saw one coral) is evidence about observers, a slate typed twice is evidence about typing; only the first
may enter a measure of agreement. The two are told apart as records are linked: by a sum over fields of log2(m / u) where they
are equal and log2((1 - m) / (1 - u)) where they are not, m being how often a field is equal when one slate is typed twice, u
how often two people who looked for themselves put down the same. (In the manner of Fellegi & Sunter 1969, J. Am. Stat. Assoc.
64:1183-1210, from memory.) Equal order of tags weighs nothing: both swam the same line. Nor does what the protocol calls all
well: it is one tap for a whole row, and two people who find healthy corals tap alike.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from itertools import combinations
from math import log2
from typing import Any

from fieldkit.settle.calendar import Dive

MIN_SHARED_ROWS = 4
"""Fewer rows in common say too little, whatever their values. Chosen by us."""

THRESHOLD = 12_000
"""Thousandths of a bit: odds of about four thousand to one before the question is put. Chosen by us; it must never cry wolf.

Tried on simulated boat days (`scripts/bench/settle.py`, seeds 1 to 9): of 405 pairs none that were two looks came past 5,000,
and none that were one slate of eight rows or more below 16,000. Of a threshold of 20,000 one slate in twenty-five fell short.
"""

# How often a field is equal, by its kind, when one slate is typed twice (m) and when two people looked (u). Chosen by us
# from what divers tell: sizes to the millimetre are hardly ever equal by chance, conditions nearly always. Common practice,
# no source.
_TYPED_TWICE = 0.99
_TWO_LOOKED = {"number": 0.15, "percent": 0.35, "choice": 0.9, "choices": 0.85, "tally": 0.6, "flag": 0.9, "text": 0.02}
_SAME_RECORDER = 3_000
_OTHER_RECORDER = -20_000
_OTHER_DAY = -6_000

Rows = Mapping[str, Mapping[str, Any]]
"""What stands in each row of a session, by what was noted of the coral (plot and tag, or position)."""


@dataclass(frozen=True, slots=True)
class Again:
    """Of a slate typed again: the session that was kept, and the digest of the ruling that says so."""

    session: str
    ruling: str


@dataclass(frozen=True, slots=True)
class Slates:
    """What is settled of sessions that look like one paper slate typed twice."""

    open: frozenset[frozenset[str]] = frozenset()
    """Pairs about which nobody has ruled."""
    again: Mapping[str, Again] = field(default_factory=dict)
    """Of the sessions that are a slate typed again, as ruled, which one stays."""

    def kept(self, session: str) -> str | None:
        """The session that stays in the place of this one; None where it stays itself."""
        return self.again[session].session if session in self.again else None


def settled_slates(pairs: Iterable[tuple[str, str, str | None, str | None]]) -> Slates:
    """Pairs of sessions with which of them is the slate typed again, and the ruling on them; None where there is none."""
    pairs = sorted(pairs)
    again: dict[str, Again] = {}
    for one, other, retyped, ruling in pairs:
        if retyped and ruling:
            again.setdefault(retyped, Again(other if retyped == one else one, ruling))
    stays = {session: _that_stays(session, again) for session in again}
    return Slates(
        open=frozenset(frozenset((one, other)) for one, other, _, ruling in pairs if ruling is None),
        again={session: Again(kept, again[session].ruling) for session, kept in stays.items() if kept != session},
    )


def _that_stays(session: str, again: Mapping[str, Again]) -> str:
    """The typing that stays of a slate typed several times; where rulings go in a ring, the smallest of it."""
    passed = [session]
    while (last := passed[-1]) in again and last not in passed[:-1]:
        passed.append(again[last].session)
    return min(passed[passed.index(last) : -1]) if last in passed[:-1] else last


def _thousandths(two_looked: float) -> tuple[int, int]:
    equal = log2(_TYPED_TWICE / two_looked)
    unequal = log2((1 - _TYPED_TWICE) / (1 - two_looked))
    return round(1000 * equal), round(1000 * unequal)


_WEIGHTS = {kind: _thousandths(two_looked) for kind, two_looked in _TWO_LOOKED.items()}


def evidence(one: Rows, other: Rows, dives: tuple[Dive, Dive]) -> int:
    """How much speaks for one slate typed twice, in thousandths of a bit; negative speaks for two people who looked.

    Args:
        one, other: the rows of each session.
        dives: the two sessions.
    """
    kinds, ordinary = _kinds(dives), _ordinary(dives)
    total = _other_heads(*dives)
    for noted in one.keys() & other.keys():
        for name in one[noted].keys() & other[noted].keys() & kinds.keys():
            equal, unequal = _WEIGHTS[kinds[name]]
            if one[noted][name] != other[noted][name]:
                total += unequal
            elif one[noted][name] != ordinary.get(name):
                total += equal
    return total


def _kinds(dives: Iterable[Dive]) -> dict[str, str]:
    """The kind of each field of a row."""
    fields = (field for dive in dives if dive.protocol for field in dive.protocol.fields_of("coral"))
    return {"note": "text", **{field.name: field.kind for field in fields}}


def _ordinary(dives: Iterable[Dive]) -> dict[str, Any]:
    """What most corals are, as the protocols' one tap says."""
    return {name: value for dive in dives if dive.protocol for name, value in dive.protocol.all_well.items()}


def _other_heads(one: Dive, other: Dive) -> int:
    """What the heads of the two slates say."""
    day = 0 if one.day == other.day else _OTHER_DAY
    if one.recorder is None or other.recorder is None:
        return day
    return day + (_SAME_RECORDER if one.recorder == other.recorder else _OTHER_RECORDER)


def sharing(noted: Mapping[str, Collection[str]]) -> list[tuple[str, str]]:
    """Pairs of sessions that noted enough of the same corals to be compared; each pair sorted, all pairs sorted.

    Args:
        noted: session id to what it noted its corals as.
    """
    there = {id_: set(corals) for id_, corals in noted.items()}
    return [(one, other) for one, other in combinations(sorted(there), 2) if len(there[one] & there[other]) >= MIN_SHARED_ROWS]


def typed_twice(pairs: Iterable[tuple[str, str]], rows: Mapping[str, Rows], dives: Mapping[str, Dive]) -> list[tuple[str, str]]:
    """Those of the pairs that look like one slate.

    Args:
        pairs: as `sharing` gives them.
        rows: session id to its rows.
        dives: session id to the session.
    """
    return [(one, other) for one, other in pairs if evidence(rows[one], rows[other], (dives[one], dives[other])) >= THRESHOLD]
