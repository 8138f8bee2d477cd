"""Which entries stand, and what a session says of itself. Pure: a set of entries in, the same answer in any order.

This is the ledger's part of the fold. Who supersedes whom is decided by `replaces` alone: no clock, no order of arrival. An
entry has effect only if its session let it (`is_entitled`); what it names is gone for good, even if it is itself superseded
later. Digests make rings impossible: an entry can only name what was minted before it.

What a lead's redaction names counts as absent before anything else is asked (`redacted`). Two things it cannot reach,
whoever asks: another redaction, and what opens a lead's session (`is_beyond_redaction`). Both decide which redactions are
valid; could they go, a base that still had their bytes and one that never saw them would not come to the same state.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from fieldkit.ledger.entry import LEAD_FAMILIES, Entry, is_digest

LEAD = "lead"

_NAMES = ("plot", "coral", "row", "genotype")
"""What entries call things by. A list or an object there is no name, whatever the protocol says."""
_NO_NAMES = frozenset({list, dict})


@dataclass(frozen=True, slots=True)
class Session:
    """What a session's own entries say of it. `values` are those of its opening entry as it stands now, with corrections."""

    id: str
    device: str | None
    """None while the opening entry has not arrived: nothing in the session has effect until it does."""
    role: str | None
    values: Mapping[str, Any]
    opening: tuple[str, ...] = ()
    """Digests of the opening entries that stand: one, or several that contradict each other."""
    disputed: tuple[str, ...] = ()
    """Names of the values in which they do; such a value is unknown."""
    of_import: str | None = None
    """The import that made it."""
    taken_back: bool = False
    """Whether that import was taken back."""
    has_observations: bool = False
    plots: tuple[str, ...] = ()
    """The plots that its standing observations name; an empty name for those that name none."""
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


def opens(entry: Entry) -> bool:
    """Whether it is the first entry of a session, which says its device and role once and for all."""
    return entry.kind == "session" and entry.seq == 1 and entry.is_understood


def opened(id_: str, entries: Iterable[Entry], imports_taken_back: frozenset[str]) -> Session:
    """Of a session: its device, role and import, and whether that was taken back; what decides whether its entries have effect.

    These are its first entry's and cannot be corrected: the door checked them against the writer's token. Where several entries
    claim to open it, a lead's goes first. Only a lead's device can write one, so that no phone can silence a lead's session.
    """
    first = min(filter(opens, entries), key=lambda entry: (entry.values.get("role") != LEAD, entry.digest), default=None)
    if first is None:
        return Session(id_, None, None, {})
    role, of_import = (value if isinstance(value := first.values.get(name), str) else None for name in ("role", "import"))
    return Session(id_, first.device, role, {}, of_import=of_import, taken_back=of_import in imports_taken_back)


def redacted(redacts: Iterable[Entry], openings: Iterable[Entry]) -> frozenset[str]:
    """Digests of entries and photos that count as absent, because a lead's redaction names them. More entries never make fewer.

    Args:
        redacts: the entries that redact; others are passed over.
        openings: those that open the sessions of the former.
    """
    leads = {(entry.session, entry.device) for entry in openings if opens(entry) and entry.values.get("role") == LEAD}
    named: set[Any] = set()
    for entry in redacts:
        of = entry.values.get("of")
        if entry.kind == "redact" and entry.is_understood and (entry.session, entry.device) in leads and isinstance(of, list):
            named |= {digest for digest in of if is_digest(digest)}
    return frozenset(named)


def is_beyond_redaction(entry: Entry) -> bool:
    return entry.kind == "redact" or (opens(entry) and entry.values.get("role") == LEAD)


def is_entitled(entry: Entry, session: Session | None) -> bool:
    """Whether the session may say this: written by its own device, and what is a lead's to say in a lead's session only."""
    if session is None or session.device is None or entry.device != session.device:
        return False
    takes_back_import = entry.kind == "retract" and "import" in entry.values
    return session.is_lead or not (entry.family in LEAD_FAMILIES or takes_back_import)


def may_replace(entry: Entry, replaced: Entry, session: Session) -> bool:
    """Whether `entry`, of `session`, may supersede: its own family, and its own session or a lead's."""
    if replaced.kind == "redact":
        return False  # the bytes are gone; nobody can unsay that
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
        if not entry.is_understood or not _names_things(entry):
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


def session(id_: str, entries: Iterable[Entry], sessions: Mapping[str, Session]) -> tuple[Session, Standing]:
    """What a session says of itself, and which of the entries stand.

    Args:
        entries: all of the session, all that name one of them in `replaces`, and all that those of the session name.
        sessions: as `opened`, the sessions of all of them.
    """
    entries = list({entry.digest: entry for entry in entries}.values())
    own = [entry for entry in entries if entry.session == id_]
    digests = {entry.digest for entry in own}
    known = sessions[id_]
    # A session that was taken back still tells where and when it was; only its rows count no more.
    telling = {entry.session: sessions[entry.session] for entry in entries} | {id_: replace(known, taken_back=False)}
    stands = standing(entries, telling)
    heads = [entry for entry in stands.heads.values() if entry.session == id_]
    openings = [
        entry
        for entry in stands.heads.values()
        if entry.kind == "session" and (entry.session == id_ or not digests.isdisjoint(entry.replaces))
    ]
    values, disputed = merged(entry.values for entry in openings)
    observed = [entry.values.get("plot") for entry in heads if entry.kind == "observation"]
    promises = [entry.values.get("n") for entry in heads if entry.kind == "close"]
    said = replace(
        known,
        values=values,
        opening=tuple(sorted(entry.digest for entry in openings)),
        disputed=disputed,
        has_observations=bool(observed),
        plots=tuple(sorted({plot if isinstance(plot, str) else "" for plot in observed})),
        promised=max((n for n in promises if type(n) is int), default=None),
        held=len(own),
        continued_twice=_sharing_a_place(own),
        not_entitled=() if known.taken_back else tuple(digest for digest in stands.not_entitled if digest in digests),
    )
    return said, stands


def merged(statements: Iterable[Mapping[str, Any]]) -> tuple[dict[str, Any], tuple[str, ...]]:
    """What several standing statements about one thing say together, field by field.

    Absent on one side is no disagreement. Returns the values on which they agree, and the names on which they do not; the
    value of such a name is unknown until somebody settles it.
    """
    said: dict[str, list[Any]] = defaultdict(list)
    for values in statements:
        for name, value in values.items():
            if value not in said[name]:
                said[name].append(value)
    agreed = {name: found[0] for name, found in sorted(said.items()) if len(found) == 1}
    return agreed, tuple(sorted(name for name, found in said.items() if len(found) > 1))


def _names_things(entry: Entry) -> bool:
    return _NO_NAMES.isdisjoint(map(type, map(entry.values.get, _NAMES)))


def _sharing_a_place(own: list[Entry]) -> tuple[str, ...]:
    places: dict[int, list[str]] = defaultdict(list)
    for entry in own:
        places[entry.seq].append(entry.digest)
    return tuple(sorted(digest for digests in places.values() if len(digests) > 1 for digest in digests))
