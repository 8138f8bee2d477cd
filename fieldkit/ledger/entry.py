"""An entry: one thing that one person said, minted once and never changed.

    {"at":1764052800123,"device":"019a…","kind":"observation","replaces":[],"seq":17,"session":"019b…","v":1,"values":{…}}

Its canonical bytes are what is stored, sent and hashed; their SHA-256 is its identity. `device` is the writer as paired,
`session` the log it belongs to, `seq` its place there, `at` the writer's wall clock in milliseconds (for display only: no
decision reads it), `replaces` the sorted digests that it supersedes. What stands in `values` for each kind is in
docs/entries.md. No I/O.
"""

from __future__ import annotations

import hashlib
import re
import secrets
import uuid
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, TypeGuard

from fieldkit.ledger.canonical import canonical, parse, sha256
from fieldkit.ledger.errors import EntryError

VERSION = 1
MAX_BYTES = 16 * 1024
MAX_REPLACES = 200

# Which family a kind belongs to: an entry may replace only its own family. `retract` takes the family of what it names.
FAMILIES: Mapping[str, str] = {
    "session": "session",
    "close": "session",
    "observation": "observation",
    "planting": "observation",
    "action": "observation",
    "photo": "photo",
    **dict.fromkeys(
        ("person", "permit", "site", "plot", "genotype", "lot", "coral", "tag", "boat_day", "draw", "event", "series"),
        "register",
    ),
    "protocol": "protocol",
    "ruling": "ruling",
    "redact": "redaction",
    "retract": "retract",
}
LEAD_FAMILIES = frozenset({"register", "protocol", "ruling", "redaction"})

_ENVELOPE = {"v", "kind", "device", "session", "seq", "at", "replaces", "values"}
_UUID = re.compile(r"[0-9a-f]{8}-[0-9a-f]{4}-[1-8][0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}")
_NAMES = re.compile(f"{_UUID.pattern} {_UUID.pattern} [a-z][a-z_]{{0,31}}")
_INTEGERS = [int, int, int]
_DIGEST = re.compile(r"[0-9a-f]{64}")
_KIND = re.compile(r"[a-z][a-z_]{0,31}")


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry as read. `values` is shared, not copied: do not change it. Two entries are equal if their digests are."""

    digest: str
    body: bytes
    v: int
    kind: str
    device: str
    session: str
    seq: int
    at: int
    replaces: tuple[str, ...]
    values: Mapping[str, Any]

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Entry) and self.digest == other.digest

    def __hash__(self) -> int:
        return hash(self.digest)

    @property
    def family(self) -> str | None:
        """The family of the kind; None where this version does not know the kind."""
        return FAMILIES.get(self.kind)

    @property
    def is_understood(self) -> bool:
        return self.v == VERSION and self.kind in FAMILIES

    @property
    def line(self) -> bytes:
        """The entry as it travels, on the wire and in carry files: `digest SP bytes LF`."""
        return b"%s %s\n" % (self.digest.encode("ascii"), self.body)


def mint(
    kind: str,
    *,
    device: str,
    session: str,
    seq: int,
    at: int,
    values: Mapping[str, Any],
    replaces: Iterable[str] = (),
) -> Entry:
    """A new entry.

    Args:
        at: the writer's wall clock, milliseconds since 1970 UTC.
        values: what is said; absent means "not looked at". Keys with the value None are a mistake of the caller.
        replaces: digests, in any order.

    Raises:
        EntryError: something is outside the profile, or the entry is too large.
    """
    body = canonical(
        {
            "v": VERSION,
            "kind": kind,
            "device": device,
            "session": session,
            "seq": seq,
            "at": at,
            "replaces": sorted(set(replaces)),
            "values": dict(values),
        }
    )
    return read(body)


def read(body: bytes) -> Entry:
    """The entry that these bytes are. Judges form alone: what an entry means is the folds' to say.

    Raises:
        EntryError: too large, not canonical, or not the envelope above.
    """
    if len(body) > MAX_BYTES:
        raise EntryError.of("ledger.entry_too_large", bytes=len(body), most=MAX_BYTES)
    entry = parse(body)
    if not isinstance(entry, dict):
        raise EntryError.of("ledger.no_object")
    _check_envelope(entry)
    return Entry(
        digest=sha256(body),
        body=body,
        v=entry["v"],
        kind=entry["kind"],
        device=entry["device"],
        session=entry["session"],
        seq=entry["seq"],
        at=entry["at"],
        replaces=tuple(entry["replaces"]),
        values=entry["values"],
    )


def read_line(line: bytes) -> Entry:
    """The entry of a line `digest SP bytes` (a closing LF is allowed): each line proves itself.

    Raises:
        EntryError: as `read`, or the digest is not that of the bytes.
    """
    digest, _, body = line.removesuffix(b"\n").partition(b" ")
    entry = read(body)
    if digest.decode("ascii", "replace") != entry.digest:
        raise EntryError.of("ledger.wrong_digest", said=digest[:64].decode("ascii", "replace"), true=entry.digest)
    return entry


def is_id(text: object) -> TypeGuard[str]:
    """Whether this is the name of a thing: a UUID in lower case."""
    return isinstance(text, str) and _UUID.fullmatch(text) is not None


def is_digest(text: object) -> TypeGuard[str]:
    return isinstance(text, str) and _DIGEST.fullmatch(text) is not None


def new_id(at: int, noise: bytes | None = None) -> str:
    """A new name for a thing: a UUIDv7 (RFC 9562, section 5.7). Nothing ever reads the time in it.

    Args:
        at: milliseconds since 1970 UTC; any clock will do, the noise keeps ids apart.
        noise: 10 bytes, for ids that can be made again; random where absent.
    """
    noise = secrets.token_bytes(10) if noise is None else noise
    return _uuid((at & 0xFFFFFFFFFFFF).to_bytes(6, "big") + noise, 7)


def derived_id(*names: str) -> str:
    """The name of a thing that follows from other names, the same on every machine: a UUIDv8 (RFC 9562, section 5.8).

    An import names what it makes by its file and mapping, so that a second run makes the same entries.
    """
    return _uuid(hashlib.sha256(canonical(list(names))).digest()[:16], 8)


def _uuid(octets: bytes, version: int) -> str:
    number = int.from_bytes(octets, "big")
    number = number & ~(0xF << 76) | version << 76
    number = number & ~(0x3 << 62) | 0x2 << 62
    return str(uuid.UUID(int=number))


def _check_envelope(entry: dict[str, Any]) -> None:
    """Form alone. An entry of a later version may say more than we know; what we know of it must hold all the same."""
    if entry.keys() != _ENVELOPE:
        missing = sorted(_ENVELOPE - entry.keys())
        unknown = sorted(entry.keys() - _ENVELOPE) if entry.get("v") == VERSION else []
        if missing or unknown:
            raise EntryError.of("ledger.envelope", missing=", ".join(missing) or "-", unknown=", ".join(unknown) or "-")
    names = f"{entry['device']} {entry['session']} {entry['kind']}"  # three blanks would match nothing
    numbers = entry["v"], entry["seq"], entry["at"]
    is_plain = _NAMES.fullmatch(names) and [type(number) for number in numbers] == _INTEGERS and min(numbers[:2]) >= 1
    if is_plain and entry["replaces"] == [] and isinstance(entry["values"], dict):
        return  # as nearly all are: one pattern costs a third of the checks one by one, which say what is wrong
    for name, holds in _FORM:
        if not holds(entry[name]):
            raise EntryError.of("ledger.envelope_field", name=name, value=str(entry[name])[:80])


def _is_whole(value: object) -> bool:
    return type(value) is int  # and not bool, which is an int to isinstance


def _is_count(value: object) -> bool:
    return type(value) is int and value >= 1


def _is_kind(value: object) -> bool:
    return isinstance(value, str) and _KIND.fullmatch(value) is not None


def _is_values(value: object) -> bool:
    return isinstance(value, dict)


def _is_digest_list(value: object) -> bool:
    return (
        isinstance(value, list)
        and len(value) <= MAX_REPLACES
        and all(is_digest(digest) for digest in value)
        and all(one < other for one, other in pairwise(value))
    )


_FORM: tuple[tuple[str, Callable[[object], bool]], ...] = (
    ("v", _is_count),
    ("kind", _is_kind),
    ("device", is_id),
    ("session", is_id),
    ("seq", _is_count),
    ("at", _is_whole),
    ("replaces", _is_digest_list),
    ("values", _is_values),
)
