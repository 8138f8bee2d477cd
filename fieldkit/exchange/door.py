"""The door: which lines come in. Judged by the line and the token alone.

Anything that needs other entries (is the replaced one there? is the tag known?) is the folds' to say: here, the order of
arrival would decide what is kept. So every order gives the same ledger. Values outside the protocol come in and become
matters: a phone with an older page must not lose its day. No I/O.
"""

from __future__ import annotations

from dataclasses import dataclass

from fieldkit.errors import Fault
from fieldkit.ledger import LEAD_FAMILIES, Entry, EntryError, is_digest, read, sha256

LEAD, BASE, VIEWER = "lead", "base", "viewer"
DIGEST_SIZE = 64


@dataclass(frozen=True)
class Peer:
    """Who hands in: a paired device or base, and the role that its token gives it."""

    device: str
    role: str

    @property
    def may_hand_in(self) -> bool:
        return self.role != VIEWER

    @property
    def is_base(self) -> bool:
        return self.role == BASE

    @property
    def may_lead(self) -> bool:
        return self.role in (LEAD, BASE)


@dataclass(frozen=True)
class Refused:
    """A line that does not come in. The device keeps it, marked and shown."""

    digest: str
    """As the line said it; of a line that says none, the digest of the whole line."""
    why: Fault


def split(line: bytes) -> tuple[str | None, bytes]:
    """Digest and bytes that a line says; None where it says no digest."""
    said, _, body = line.partition(b" ")
    digest = said.decode("ascii", "replace") if len(said) == DIGEST_SIZE else ""
    return (digest if is_digest(digest) else None), body


def judged(line: bytes, peer: Peer) -> Entry | Refused:
    """The entry of a line, or why it does not come in."""
    digest, body = split(line)
    if digest is None:
        return Refused(sha256(line), Fault("exchange.no_line"))
    return entry_of(digest, body, peer)


def entry_of(digest: str, body: bytes, peer: Peer) -> Entry | Refused:
    """The same of a line that was split."""
    try:
        entry = read(body)
    except EntryError as error:
        return Refused(digest, error.faults[0])
    if entry.digest != digest:
        return Refused(digest, Fault("ledger.wrong_digest", {"said": digest, "true": entry.digest}))
    why = _not_let_in(entry, peer)
    return Refused(digest, why) if why else entry


def _not_let_in(entry: Entry, peer: Peer) -> Fault | None:
    """A base hands in what its devices said; each device what it said itself, within its role."""
    if peer.is_base:
        return None
    if entry.device != peer.device:
        return Fault("exchange.other_device", {"device": entry.device})
    if not peer.may_lead and _is_for_leads(entry):
        return Fault("exchange.for_leads", {"kind": entry.kind})
    return None


def _is_for_leads(entry: Entry) -> bool:
    claims_lead = entry.kind == "session" and entry.values.get("role") == LEAD
    takes_back_import = entry.kind == "retract" and "import" in entry.values
    return claims_lead or takes_back_import or entry.family in LEAD_FAMILIES
