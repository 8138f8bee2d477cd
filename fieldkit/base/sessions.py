"""The first stratum: what each session says of itself, when and where it was as settled, and the photos that it promised."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from typing import Any

from fieldkit.base.desk import Desk
from fieldkit.base.rows import SessionRow
from fieldkit.ledger import Entry
from fieldkit.ledger.fold import Session, Standing, session
from fieldkit.settle.calendar import is_set_aside, settled_day, settled_site
from fieldkit.settle.matter import Rulings


def put_sessions(desk: Desk, ids: Collection[str], entries: Iterable[Entry]) -> dict[str, Session]:
    """Compute the rows of these sessions.

    Args:
        entries: all of these sessions.

    Returns:
        What they say; one of which nothing is left has no row, and says nothing.
    """
    own: dict[str, list[Entry]] = defaultdict(list)
    for entry in entries:
        own[entry.session].append(entry)
    beside = _beside(desk, own)
    opened = desk.opened({entry.session for said in (*own.values(), *beside.values()) for entry in said})
    rulings = desk.rulings(ids, at_once=1)
    redacted = desk.state.redacted()
    found = {}
    for id_ in sorted(ids):
        if id_ not in own:
            desk.state.drop_session(id_)
            desk.state.put_photos(id_, ())
            continue
        found[id_], stands = session(id_, [*own[id_], *beside[id_]], opened)
        row = _settled(found[id_], rulings)
        desk.state.put_session(row, is_visit=_is_visit(row))
        desk.state.put_photos(id_, [] if found[id_].taken_back else _photos(id_, stands, redacted))
    return found


def _photos(id_: str, stands: Standing, redacted: Collection[str]) -> list[tuple[str, Mapping[str, Any]]]:
    """What was promised and may still come. Whoever names no photo promises none."""
    promised = [(e.digest, e.values) for e in stands.heads.values() if e.kind == "photo" and e.session == id_]
    return [one for one in promised if isinstance(photo := one[1].get("photo"), str) and photo not in redacted]


def _beside(desk: Desk, own: Mapping[str, list[Entry]]) -> Mapping[str, list[Entry]]:
    """By session the entries of others that name one of its own or are named by one of them."""
    beside: dict[str, list[Entry]] = defaultdict(list)
    session_of = {entry.digest: entry.session for said in own.values() for entry in said}
    for entry in desk.ledger.mentioning(session_of):
        for id_ in {session_of[name] for name in entry.replaces if name in session_of} - {entry.session}:
            beside[id_].append(entry)
    named = {name for said in own.values() for entry in said for name in entry.replaces}
    known = {entry.digest: entry for entry in desk.ledger.with_digests(named)}
    for id_, said in own.items():
        replaced = {name for entry in said for name in entry.replaces if name in known}
        beside[id_] += [known[name] for name in sorted(replaced) if known[name].session != id_]
    return beside


def _settled(one: Session, rulings: Rulings) -> SessionRow:
    day = settled_day(one, rulings)
    return SessionRow(one, settled_site(one, rulings), str(day) if day else None, None, set_aside=is_set_aside(one, rulings))


def _is_visit(row: SessionRow) -> bool:
    """Whether the session has a part in the visits of its site."""
    one = row.session
    return bool(row.day and one.has_observations) and not (one.is_practice or one.taken_back or row.set_aside)
