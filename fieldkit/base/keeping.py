"""Keeps the state true to the ledger: computes anew what new entries touch, and nothing else.

The state is made of strata, each in a module of its own, each computed from the ledger and the strata before it: sessions,
the visits of their sites with slates typed twice, registered things, doubts about sessions, and last the plots. A stratum
gives the rows of the units that it is asked for, wholly and always the same. This module finds out which units those are.

From nothing, that is all of them; the rows are the same, and `fieldkit check` and the tests compare them byte for byte.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar

from fieldkit.base.desk import Desk, homes
from fieldkit.base.doubts import put_doubts, sessions_judged_by
from fieldkit.base.plots import put_plots, units_of
from fieldkit.base.redactions import put_redacted, redact
from fieldkit.base.rows import SessionRow
from fieldkit.base.sessions import put_sessions
from fieldkit.base.state import State
from fieldkit.base.things import Thing, put_things, things_of
from fieldkit.base.visits import put_slates, put_visits
from fieldkit.ledger import Entry, is_id
from fieldkit.ledger.fold import Session
from fieldkit.ledger.store import Ledger
from fieldkit.ledger.subjects import mentions
from fieldkit.protocol import Protocol

T = TypeVar("T")

SESSIONS_AT_ONCE = 500
"""How many sessions a fold from nothing holds in memory together: about 15,000 entries. More is hardly faster. Chosen by us."""

MANY = 1000
"""From so many new entries on, where they are most of the ledger, less is asked and looked up from nothing. Chosen by us."""


@dataclass
class Reach:
    """What an update reaches before anything is settled."""

    stirred: dict[str, Entry] = field(default_factory=dict)
    """Entries that are new, gone, or have effect only now, or no more."""
    beside: dict[str, Entry] = field(default_factory=dict)
    """Entries that those name, or that name those: they may stand where they did not, or fall."""
    before: dict[str, SessionRow] = field(default_factory=dict)
    """The sessions of all of them, as they were."""
    sessions: set[str] = field(default_factory=set)

    @property
    def entries(self) -> list[Entry]:
        return list((self.beside | self.stirred).values())


class Keeper:
    """Brings the state up to date. The caller holds the transaction, and makes a keeper for each."""

    def __init__(self, ledger: Ledger, state: State, protocol: Callable[[str], Protocol | None]) -> None:
        """`protocol` gives the protocol of a digest, or None while its file has not arrived."""
        self._sources = ledger, state, protocol
        self.redacted: frozenset[str] = frozenset()
        """Digests of entries and photos that count as absent since this transaction."""

    def take_in(self, new: Collection[Entry], protocols: Collection[str] = ()) -> None:
        """Compute anew what these entries, just appended, touch, and what was written under these protocols.

        Args:
            protocols: digests of those whose file was not here before.
        """
        desk = Desk(*self._sources)
        desk.ledger.index()
        gone, redacted = redact(desk, new)
        self.redacted |= redacted
        if len(new) >= max(MANY, desk.ledger.newest_place // 2):
            self.from_nothing()
        elif new or protocols:
            understood = desk.state.sessions_with("protocol", protocols)
            _update(desk, [*new, *gone], desk.state.sessions_showing(redacted) | understood, also=understood)

    def from_nothing(self) -> None:
        """Throw the state away and compute all of it."""
        desk = Desk(*self._sources)
        desk.state.clear()
        desk.ledger.index()
        put_redacted(desk)
        units: set[str] = set()
        things: set[Thing] = set()
        sessions = desk.ledger.session_ids()
        for some in _pieces(sessions):
            entries = desk.ledger.of_sessions(some)
            put_sessions(desk, some, entries)
            units |= homes(entries)
            things |= things_of(entries)
        put_visits(desk, desk.state.sites())
        put_slates(desk, desk.state.visits_of_several())
        for some_things in _pieces(sorted(things)):
            put_things(desk, some_things)
        for some in _pieces(sessions):
            put_doubts(desk, some)
        put_plots(desk, units)


def _update(desk: Desk, new: Collection[Entry], sessions: Collection[str], *, also: Collection[str] = ()) -> None:
    """`also`: sessions whose observations are to be settled anew, whatever becomes of the sessions themselves."""
    reach = _reach(desk, new, sessions)
    moved, after = _moved(desk, reach)
    retyped = put_slates(desk, _visits_of(reach.before, after, moved))
    things = things_of(reach.entries)
    put_things(desk, things)
    put_doubts(desk, reach.sessions | sessions_judged_by(desk, things, reach.entries))
    changed = {id_ for id_ in reach.sessions if _weight(reach.before.get(id_)) != _weight(after.get(id_))}
    touched = desk.ledger.of_sessions(changed | moved.keys() | retyped | set(also))
    put_plots(desk, units_of(desk, reach.entries) | homes(touched))


def _reach(desk: Desk, new: Collection[Entry], sessions: Collection[str]) -> Reach:
    """Compute the sessions that entries touch, until none is touched that was not computed."""
    reach = Reach()
    waiting, touched = {entry.digest: entry for entry in new}, set(sessions)
    while waiting or touched:
        beside = _beside(desk, waiting.values())
        reach.stirred |= waiting
        reach.beside |= beside
        touched |= _sessions_named(desk, (*waiting.values(), *beside.values()))
        touched -= reach.sessions
        reach.before |= desk.state.sessions(touched)
        found = put_sessions(desk, touched, desk.ledger.of_sessions(touched))
        reach.sessions |= touched
        # What a session says has effect only once its opening entry is here: then all of it is as good as new.
        roused = {id_ for id_ in touched if _standing(found.get(id_)) != _standing_of(reach.before.get(id_))}
        waiting = {e.digest: e for e in desk.ledger.of_sessions(roused) if e.digest not in reach.stirred}
        touched = set()
    return reach


def _moved(desk: Desk, reach: Reach) -> tuple[dict[str, str | None], dict[str, SessionRow]]:
    """Compute the visits of the sites that were reached.

    Returns:
        The sessions that moved to another visit, with the one that they left; and all sessions as they are now.
    """
    state = desk.state
    rows = [*reach.before.values(), *state.sessions(reach.sessions).values()]
    moved = put_visits(desk, {row.site for row in rows if row.site}, reach.sessions)
    return moved, state.sessions(reach.sessions | moved.keys())


def _beside(desk: Desk, entries: Collection[Entry]) -> dict[str, Entry]:
    replaced = desk.ledger.with_digests({name for entry in entries for name in entry.replaces})
    return {entry.digest: entry for entry in (*replaced, *desk.ledger.mentioning([entry.digest for entry in entries]))}


def _sessions_named(desk: Desk, entries: Collection[Entry]) -> set[str]:
    """The sessions of entries, those that they rule upon, and those that came of imports which they take back."""
    named = {name for entry in entries for name in mentions(entry)}
    own = {entry.session for entry in entries}
    return own | {name for name in named if is_id(name)} | desk.state.sessions_with("import", named)


def _visits_of(
    before: dict[str, SessionRow], after: dict[str, SessionRow], moved: dict[str, str | None]
) -> list[tuple[str, str]]:
    """Site and visit of sessions, as they were and as they are."""
    rows = [(row.site, row.visit) for row in (*before.values(), *after.values())]
    left = [(after[id_].site, visit) for id_, visit in moved.items() if id_ in after]
    return sorted({(site, visit) for site, visit in (*rows, *left) if site and visit})


def _standing(one: Session | None) -> tuple[Any, ...]:
    """What the effect of a session's entries depends on."""
    return (one.device, one.role, one.taken_back) if one else (None, None, False)


def _standing_of(row: SessionRow | None) -> tuple[Any, ...]:
    return _standing(row.session if row else None)


def _weight(row: SessionRow | None) -> tuple[Any, ...]:
    """What observations depend on of their session."""
    if row is None:
        return ()
    settled = row.site, row.day, row.visit, row.set_aside, row.protocol
    return (*settled, *_standing_of(row), row.session.is_practice, row.session.values.get("recorder"))


def _pieces(items: Sequence[T]) -> Iterator[Sequence[T]]:
    for i in range(0, len(items), SESSIONS_AT_ONCE):
        yield items[i : i + SESSIONS_AT_ONCE]
