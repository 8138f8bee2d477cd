"""When and where each session was, and which sessions make one visit. Pure.

A session is where its opening entry says, unless a ruling says otherwise. A visit of a site opens with the first session
that has observations and takes in those up to `same_visit` days later; the next day opens the next visit. (Not "within the
window of some other session": that would chain 1-3-5-7 into one.) A visit that a person names wins.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from fieldkit.ledger.fold import Session
from fieldkit.protocol import Protocol
from fieldkit.settle.matter import Rulings


@dataclass(frozen=True, slots=True)
class Dive:
    """A session as settled: what the figures need to know of it."""

    id: str
    site: str | None
    day: date | None
    visit: str | None
    protocol: Protocol | None
    practice: bool
    recorder: str | None
    set_aside: bool = False


def day_of(text: Any) -> date | None:
    """The civil day that an ISO 8601 text names; None where it names none."""
    try:
        return date.fromisoformat(text) if isinstance(text, str) and len(text) == 10 else None
    except ValueError:
        return None


def settled_day(session: Session, rulings: Rulings) -> date | None:
    """The session's day: as ruled, else as its opening entry says."""
    return ruled_day(session, rulings) or day_of(session.values.get("day"))


def ruled_day(session: Session, rulings: Rulings) -> date | None:
    ruling = rulings.on("date", [session.id])
    return day_of(ruling.keys.get("day")) if ruling and ruling.answer == "day" else None


def settled_site(session: Session, rulings: Rulings) -> str | None:
    """The session's site: as ruled, else as its opening entry says."""
    said = session.values.get("site")
    return ruled_site(session, rulings) or (said if isinstance(said, str) else None)


def ruled_site(session: Session, rulings: Rulings) -> str | None:
    ruling = rulings.on("site", [session.id])
    site = ruling.keys.get("site") if ruling and ruling.answer == "site" else None
    return site if isinstance(site, str) else None


def is_set_aside(session: Session, rulings: Rulings) -> bool:
    """Whether a lead took the whole session out of the figures."""
    return any((ruling := rulings.on(kind, [session.id])) and ruling.answer == "set_aside" for kind in ("date", "site"))


@dataclass(frozen=True, slots=True)
class Visitor:
    """What the calendar of a site needs to know of a session."""

    session: str
    day: date
    same_visit_days: int
    named: str | None = None
    """The visit that a person said it belongs to."""


def visits(sessions: Iterable[Visitor]) -> dict[str, str]:
    """Of the sessions of one site that have observations: which visit each belongs to.

    A visit is called by its first day, or by the name that a person gave it.
    """
    by_day: dict[date, list[Visitor]] = defaultdict(list)
    found: dict[str, str] = {}
    for visitor in sessions:
        if visitor.named:
            found[visitor.session] = f"named {visitor.named}"
        else:
            by_day[visitor.day].append(visitor)
    opened, last = None, None
    for day, there in sorted(by_day.items()):
        if last is None or day > last:
            opened = day
            # Sessions under different protocols may open a visit together; the longer window holds, whoever came in first.
            last = day + timedelta(days=max(visitor.same_visit_days for visitor in there))
        for visitor in there:
            found[visitor.session] = str(opened)
    return found


def dive(session: Session, visit: str | None, rulings: Rulings, protocols: Mapping[str, Protocol]) -> Dive:
    """The session as settled. Its protocol is None while the file that it names has not arrived."""
    return Dive(
        id=session.id,
        site=settled_site(session, rulings),
        day=settled_day(session, rulings),
        visit=visit,
        protocol=protocols.get(session.values.get("protocol", "")),
        practice=session.is_practice,
        recorder=session.values.get("recorder"),
        set_aside=is_set_aside(session, rulings),
    )
