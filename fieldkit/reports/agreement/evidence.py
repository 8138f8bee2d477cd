"""What agreement is told from: doubles, that is one coral on one visit, observed by two people who looked for themselves.

A slate typed twice is evidence about typing, an observation that was set aside is none, practice is told apart: none of them is
here. Values are those that were noted, not those that a lead settled later.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from itertools import combinations
from typing import Any

from fieldkit.base import View, as_dive
from fieldkit.protocol import Protocol
from fieldkit.settle.calendar import Dive
from fieldkit.settle.reading import Reading, by_newest, newest, read

ProtocolOf = Callable[[str], Protocol | None]
"""The protocol of a digest; None where its file is not here."""


@dataclass(frozen=True)
class Double:
    """One coral, one visit, two recorders in the order of their names, and what each noted, by the newest protocol's names."""

    coral: str
    site: str
    visit: str
    recorders: tuple[str, str]
    values: tuple[Mapping[str, Any], Mapping[str, Any]]
    day: date
    """The later day, where the two were not out on the same one."""


@dataclass(frozen=True)
class Evidence:
    """All doubles, and what looks like one but tells nothing of two people."""

    doubles: tuple[Double, ...]
    protocol: Protocol | None
    """The newest under which any of them was noted."""
    left_out: Mapping[str, int]
    """Pairs of observations by reason: `may_be_one_slate` (nobody has ruled yet), `same_recorder`, `no_recorder`."""


def evidence(view: View, protocol_of: ProtocolOf) -> Evidence:
    """All evidence of agreement in the base, in an order that is always the same."""
    rows = view.rows(
        "SELECT coral, said ->> '$.digests' AS digests FROM seen WHERE json_array_length(said, '$.digests') > 1"
        " ORDER BY coral, visit"
    )
    together = {(row["coral"], row["digests"]): json.loads(row["digests"]) for row in rows}
    readings = readings_of(view, {digest for digests in together.values() for digest in digests}, protocol_of)
    open_ = {frozenset((row["one"], row["other"])) for row in view.rows("SELECT one, other FROM slate WHERE ruling IS NULL")}
    doubles, left_out = [], Counter[str]()
    for (coral, _), digests in together.items():
        for pair in combinations([readings[digest] for digest in digests if digest in readings], 2):
            if why := _tells_nothing(pair, open_):
                left_out[why] += 1
            else:
                doubles.append(_double(coral, *sorted(pair, key=lambda one: (one.dive.recorder or "", one.digest))))
    return Evidence(tuple(doubles), newest(list(readings.values())), dict(sorted(left_out.items())))


def readings_of(view: View, digests: Collection[str], protocol_of: ProtocolOf) -> dict[str, Reading]:
    """Observations as they were noted, by digest, under the names of the newest protocol among theirs."""
    entries = [entry for entry in view.ledger.with_digests(digests) if entry.kind == "observation"]
    dives = {id_: _named(as_dive(row, protocol_of)) for id_, row in view.sessions({entry.session for entry in entries}).items()}
    readings = by_newest([read(entry, dives[entry.session]) for entry in entries if entry.session in dives])
    return {reading.digest: reading for reading in readings}


def _named(dive: Dive) -> Dive:
    """With its recorder's name as such, None where there is none: a blank more is nobody else."""
    return replace(dive, recorder=(dive.recorder or "").strip() or None)


def _tells_nothing(pair: Iterable[Reading], open_: Collection[frozenset[str]]) -> str | None:
    one, other = pair
    if frozenset((one.dive.id, other.dive.id)) in open_:
        return "may_be_one_slate"
    if one.dive.recorder is None or other.dive.recorder is None:
        return "no_recorder"
    return "same_recorder" if one.dive.recorder == other.dive.recorder else None


def _double(coral: str, one: Reading, other: Reading) -> Double:
    day = max(one.dive.day or date.min, other.dive.day or date.min)
    return Double(
        coral,
        one.dive.site or "",
        one.dive.visit or "",
        (one.dive.recorder or "", other.dive.recorder or ""),
        (one.values, other.values),
        day,
    )
