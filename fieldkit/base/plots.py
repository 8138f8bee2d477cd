"""The last stratum: the corals and counted groups of plots, what was seen of them, and what became of each observation.

What is settled together are whole neighbourhoods: a plot, and whatever rulings, corals that changed plots, and observations
that name another plot's coral tie to it. Nothing outside a neighbourhood bears on it, so each is settled by itself, in any
order.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace

from fieldkit.base.desk import Desk, home_of, homes
from fieldkit.ledger import Entry, is_digest
from fieldkit.ledger.fold import Standing
from fieldkit.ledger.subjects import mentions
from fieldkit.register.fold import corals, groups
from fieldkit.settle.fold import Settled, settle
from fieldkit.settle.matter import Rulings
from fieldkit.settle.questions import rulings_that_differ
from fieldkit.settle.slates import settled_slates

_CORAL = {"planting": "row", "coral": "coral", "tag": "coral", "observation": "coral", "action": "coral", "ruling": "coral"}
"""Under which name the kinds that bear on plots name a coral."""


@dataclass
class Neighbourhood:
    """Units that are tied to each other, and all entries that bear on them."""

    units: set[str] = field(default_factory=set)
    entries: dict[str, Entry] = field(default_factory=dict)


def units_of(desk: Desk, entries: Collection[Entry]) -> set[str]:
    """A unit of every neighbourhood on which these entries bear, or bore while they were there."""
    named = desk.ledger.with_digests({name for entry in entries for name in mentions(entry)})
    around = {entry.digest: entry for entry in (*entries, *named) if entry.kind in _CORAL}
    return homes([*around.values(), *desk.ledger.about(_corals_named(around.values()))])


def put_plots(desk: Desk, units: Collection[str]) -> None:
    """Compute the rows of these units and of what is tied to them."""
    done: set[str] = set()
    for unit in sorted(units):
        if unit not in done:
            there = _neighbourhood(desk, unit)
            done |= there.units
            _put(desk, there)


def _neighbourhood(desk: Desk, unit: str) -> Neighbourhood:
    found = Neighbourhood()
    frontier = {unit}
    while frontier:
        found.units |= frontier
        own = [entry for entry in desk.ledger.of_sessions(frontier) if home_of(entry) in frontier]
        waiting = [*desk.ledger.about(frontier), *own]
        while new := {e.digest: e for e in waiting if e.digest not in found.entries and _bears_on_plots(e)}:
            found.entries |= new
            waiting = [
                *desk.ledger.about(_corals_named(new.values())),
                *desk.ledger.mentioning(new),
                *desk.ledger.with_digests({name for entry in new.values() for name in mentions(entry)}),
            ]
        frontier = homes(found.entries.values()) - found.units
    return found


def _put(desk: Desk, there: Neighbourhood) -> None:
    stands = desk.standing(there.entries.values())
    rulings = Rulings(entry for entry in stands.heads.values() if _is_ruling_on_entries(entry))
    found = _settled(desk, there, stands, rulings)
    unit_of = {digest: unit for digest, entry in there.entries.items() if (unit := home_of(entry)) is not None}
    lives = [(life.coral.plot or _first(life.coral.said_by, unit_of), life) for life in found.lives]
    matters = [*found.matters, *rulings_that_differ(rulings, unit_of)]
    fates = {**found.fates, **stands.fates}
    desk.state.put_lives(there.units, lives)
    desk.state.put_groups(there.units, found.groups)
    # A matter about a coral in no plot has no unit of its own: any of the neighbourhood will do, if it is always the same.
    desk.state.put_matters(there.units, [replace(one, unit=one.unit or min(there.units)) for one in matters])
    desk.state.put_fates(
        there.units,
        (
            (digest, unit_of[digest], fates[digest], found.coral_of.get(digest), entry.session)
            for digest, entry in there.entries.items()
            if entry.kind == "observation"
        ),
    )


def _settled(desk: Desk, there: Neighbourhood, stands: Standing, rulings: Rulings) -> Settled:
    rows = desk.state.sessions({entry.session for entry in there.entries.values()})
    days = {id_: row.day for id_, row in rows.items()}
    heads = stands.heads.values()
    return settle(
        [entry for entry in heads if entry.kind == "observation"],
        corals(heads, days),
        groups([entry for entry in heads if isinstance(entry.values.get("plot"), str)], days),
        {id_: desk.dive(row) for id_, row in rows.items()},
        rulings,
        settled_slates(desk.state.slates(rows)),
    )


def _bears_on_plots(entry: Entry) -> bool:
    return entry.kind in _CORAL or entry.kind == "retract"


def _corals_named(entries: Iterable[Entry]) -> set[str]:
    named = (entry.values.get(_CORAL.get(entry.kind, "")) for entry in entries)
    return {id_ for id_ in named if isinstance(id_, str)}


def _is_ruling_on_entries(entry: Entry) -> bool:
    of = entry.values.get("of")
    return entry.kind == "ruling" and isinstance(of, list) and all(is_digest(name) for name in of)


def _first(digests: Iterable[str], unit_of: Mapping[str, str]) -> str:
    return min(unit_of[digest] for digest in digests if digest in unit_of)
