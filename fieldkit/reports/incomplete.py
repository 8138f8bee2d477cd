"""Which plots of a boat day came back with corals left out: those that somebody was to look for and of which no row came."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass

from fieldkit.base import View
from fieldkit.register.names import folded
from fieldkit.reports.slates import SEARCHES_KEPT
from fieldkit.settle.place import noted


@dataclass(frozen=True)
class Incomplete:
    """A plot that is back, though not all of it."""

    plot: str
    expected: int
    absent: tuple[str, ...]
    """What the corals without a row are called."""
    unplaced: int
    """Rows of the plot whose coral nobody knows yet: some of those left out may be these."""


def incomplete(view: View, day: str, sessions: Collection[str]) -> list[Incomplete]:
    """Of the tagged plots that these sessions of a day observed, those of which corals have no row.

    Somebody was to look for a coral that was planted by then and not withdrawn, that was not dead when it was seen last, and
    that was not looked for in vain twice: as the slates of that day had it. *Not searched* is a row.
    """
    rows = view.rows(
        "SELECT digest, unit, coral FROM fate WHERE session IN (SELECT value FROM json_each(?))"
        " AND fate NOT IN ('superseded', 'retracted', 'redacted', 'practice')",
        list(sessions),
    )
    seen: dict[str, set[str]] = defaultdict(set)
    for row in rows:
        seen[row["unit"]] |= {row["coral"]} - {None}
    # Rows that give no state (nobody looked, or the tag is in doubt) are of no coral, but may call one by its name.
    called: dict[str, list[str]] = defaultdict(list)
    unit_of = {row["digest"]: row["unit"] for row in rows if row["coral"] is None}
    for said in view.observations(unit_of):
        called[unit_of[said.digest]].append(folded(str(said.values.get("coral") or noted(said.values))))
    names = {id_: str(said.get("name", id_[:8])) for id_, said in view.things("plot").items() if id_ in seen}
    expected = _expected(view, day, names)
    found = []
    for plot, name in names.items():
        absent = {id_: tag for id_, tag in expected.get(plot, {}).items() if id_ not in seen[plot]}
        named = {id_ for id_, tag in absent.items() if {id_, folded(tag)} & set(called[plot])}
        left = tuple(tag for id_, tag in absent.items() if id_ not in named)
        if left:
            found.append(Incomplete(name, len(expected[plot]), left, len(called[plot]) - len(named)))
    return sorted(found, key=lambda one: one.plot)


def _expected(view: View, day: str, plots: Collection[str]) -> Mapping[str, Mapping[str, str]]:
    """By plot, the corals that somebody was to look for that day, by what they are called."""
    rows = view.rows(
        "SELECT id, plot, tag, position FROM coral WHERE plot IN (SELECT value FROM json_each(?))"
        " AND planted_on <= ? AND (withdrawn_on IS NULL OR withdrawn_on >= ?) ORDER BY plot, position, tag, id",
        list(plots),
        day,
        day,
    )
    before: dict[str, list[str]] = defaultdict(list)
    for seen in sorted(view.seen([row["id"] for row in rows]), key=lambda seen: seen["day"] or ""):
        if seen["state"] and seen["day"] and seen["day"] < day:
            before[seen["coral"]].append(seen["state"])
    found: dict[str, dict[str, str]] = defaultdict(dict)
    for row in rows:
        states = before[row["id"]]
        is_given_up = len(states) >= SEARCHES_KEPT and set(states[-SEARCHES_KEPT:]) == {"missing"}
        if states[-1:] != ["dead"] and not is_given_up:
            found[row["plot"]][row["id"]] = str(row["tag"] or row["position"] or row["id"][:8])
    return found
