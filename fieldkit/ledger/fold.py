"""Which entries stand, and what a session says of itself. Pure: a set of entries in, the same answer in any order.

This is the ledger's part of the fold. Who supersedes whom is decided by `replaces` alone: no clock, no order of arrival. An entry
has effect only if its session let it (`is_entitled`); what it names is gone for good, even if it is itself superseded later.
Digests make rings impossible: an entry can only name what was minted before it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from fieldkit.ledger.entry import LEAD_FAMILIES, Entry

LEAD = "lead"


@dataclass(frozen=True, slots=True)
class Session:
    """What a session's own entries say of it. `values` are those of its opening entry as it stands now, corrections included."""

    id: str
    device: str | None
    """None while the opening entry has not arrived: nothing in the session has effect until it does."""
    role: str | None
    values: Mapping[str, Any]
    opening: tuple[str, ...] = ()
    """Digests of the opening entries that stand: one, or several that contradict each other."""
    disputed: tuple[str, ...] = ()
    """Names of the values in which they do; such a value is unknown."""
    taken_back: bool = False
    """Whether the import that made it was taken back."""
    has_observations: bool = False
    promised: int | None = None
    """How many entries its close entry announced."""
    held: int = 0
    continued_twice: tuple[str, ...] = ()
    """Digests that share a place in the session: one device lived two lives (a clone, a restored backup)."""
    not_entitled: tuple[str, ...] = ()
    """Digests of its entries that have no effect, because it may not say such a thing."""

    @property
    def is_lead(self) -> bool:
        return self.role == LEAD

    @property
    def is_practice(self) -> bool:
        return self.values.get("practice") in (True, "true", "yes")


@dataclass(frozen=True, slots=True)
class Standing:
    """Of some entries: which stand, and why the others do not."""

    heads: Mapping[str, Entry]
    fates: Mapping[str, str]
    """Digest to `superseded`, `retracted` or `not understood`, of each entry that does not stand."""
    not_entitled: tuple[str, ...]
    """Digests of entries that have no effect because their session may not say such a thing; each is a matter."""


def is_entitled(entry: Entry, session: Session | None) -> bool:
    """Whether the session may say this: written by its own device, and lead's kinds in a lead's session only."""
    if session is None or session.device is None or entry.device != session.device:
        return False
    return session.is_lead or entry.family not in LEAD_FAMILIES


def may_replace(entry: Entry, replaced: Entry, session: Session) -> bool:
    """Whether `entry`, of `session`, may supersede: its own family, and its own session or a lead's."""
    family_fits = entry.kind == "retract" or entry.family == replaced.family
    return family_fits and (entry.session == replaced.session or session.is_lead)


def standing(entries: Iterable[Entry], sessions: Mapping[str, Session]) -> Standing:
    """Which of these entries stand.

    Args:
        entries: closed under naming: with an entry, every entry that names it in `replaces` is there too.
        sessions: the sessions of all of them; an entry whose session is not there has no effect.
    """
    known = {entry.digest: entry for entry in entries}
    fates: dict[str, str] = {}
    not_entitled = []
    effective = []
    for digest, entry in sorted(known.items()):
        session = sessions.get(entry.session)
        if not entry.is_understood:
            fates[digest] = "not understood"
        elif session is not None and session.taken_back:
            fates[digest] = "retracted"
        elif not is_entitled(entry, session):
            fates[digest] = "not understood"
            if session is not None and session.device is not None:
                not_entitled.append(digest)
        else:
            effective.append(entry)
    for entry in effective:
        for name in entry.replaces:
            if (replaced := known.get(name)) is None:
                continue
            if not may_replace(entry, replaced, sessions[entry.session]):
                not_entitled.append(entry.digest)
            elif entry.kind == "retract":
                fates[name] = "retracted"
            else:
                fates.setdefault(name, "superseded")
    heads = {entry.digest: entry for entry in effective if entry.digest not in fates and entry.kind != "retract"}
    return Standing(heads, fates, tuple(sorted(set(not_entitled))))


def session(id_: str, entries: Iterable[Entry], others: Mapping[str, Session], imports_taken_back: frozenset[str]) -> Session:
    """What a session says of itself.

    Args:
        entries: all entries of the session, and all of other sessions that name one of them in `replaces`.
        others: the sessions of the latter, as far as they are known.
        imports_taken_back: digests of imports that a lead took back whole.

    Its device, role and import are those of its first entry and cannot be corrected: the door checked them against the writer's
    token. Given its `session` entries alone, these three are right already.
    """
    entries = sorted(entries, key=lambda entry: (entry.seq, entry.digest))
    own = [entry for entry in entries if entry.session == id_]
    first = next((entry for entry in own if entry.kind == "session" and entry.is_understood and entry.seq == 1), None)
    if first is None:
        return Session(id_, None, None, {}, held=len(own), continued_twice=_sharing_a_place(own))
    opened = Session(id_, first.device, first.values.get("role"), {})
    stands = standing(entries, {**others, id_: opened})
    openings = [entry for entry in stands.heads.values() if entry.kind == "session" and _reaches(entry, own)]
    values, disputed = merged([entry.values for entry in openings])
    closes = [
        entry.values["n"] for entry in stands.heads.values() if entry.kind == "close" and isinstance(entry.values.get("n"), int)
    ]
    return Session(
        id=id_,
        device=first.device,
        role=first.values.get("role"),
        values=values,
        opening=tuple(sorted(entry.digest for entry in openings)),
        disputed=disputed,
        taken_back=first.values.get("import") in imports_taken_back,
        has_observations=any(entry.kind == "observation" and entry.session == id_ for entry in stands.heads.values()),
        promised=max(closes, default=None),
        held=len(own),
        continued_twice=_sharing_a_place(own),
    )


def merged(statements: Iterable[Mapping[str, Any]]) -> tuple[dict[str, Any], tuple[str, ...]]:
    """What several standing statements about one thing say together, field by field.

    Absent on one side is no disagreement. Returns the values on which they agree, and the names on which they do not; the value of
    such a name is unknown until somebody settles it.
    """
    said: dict[str, list[Any]] = defaultdict(list)
    for values in statements:
        for name, value in values.items():
            if value not in said[name]:
                said[name].append(value)
    agreed = {name: found[0] for name, found in sorted(said.items()) if len(found) == 1}
    return agreed, tuple(sorted(name for name, found in said.items() if len(found) > 1))


def _reaches(entry: Entry, own: list[Entry]) -> bool:
    """Whether a session entry speaks of this session: one of its own, or a lead's correction of one."""
    return entry in own or any(replaced.digest in entry.replaces for replaced in own)


def _sharing_a_place(own: list[Entry]) -> tuple[str, ...]:
    places: dict[int, list[str]] = defaultdict(list)
    for entry in own:
        places[entry.seq].append(entry.digest)
    return tuple(sorted(digest for digests in places.values() if len(digests) > 1 for digest in digests))
