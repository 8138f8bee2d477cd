"""What a base answers to devices and other bases. A request may be cut, repeated or reordered: each stands for itself.

Nothing here brings the state up to date: who hands in waits for the disk and nothing else.
"""

from __future__ import annotations

import time
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from fieldkit.base import Base
from fieldkit.exchange.door import Peer, Refused, entry_of, judged, split
from fieldkit.exchange.errors import ExchangeError
from fieldkit.ledger import Entry
from fieldkit.ledger.migrations import written_sum
from fieldkit.ledger.store import Ledger, Summary, summed
from fieldkit.photos import Incoming, Piece
from fieldkit.photos.look import MAX_BYTES

MOST_LINES = 500
MOST_BYTES = 1024 * 1024
PIECE = 1024 * 1024
MOST_PHOTO_BYTES = MAX_BYTES
PREFIX = 4
"""Sessions are first compared by the first so many digits of their ids: of a UUIDv7, those of about 50 days."""

_MOST_TEXT_BYTES = 256 * 1024  # of a protocol file, as in carry files


@dataclass(frozen=True)
class Compared:
    """Of the sessions of a device: which differ here, and which it has lived twice."""

    differ: tuple[str, ...]
    forked: tuple[str, ...]


@dataclass(frozen=True)
class Lack:
    """Digests that are not here; and the sessions of which something is here that the device does not hold."""

    lack: tuple[str, ...]
    forked: tuple[str, ...]


@dataclass(frozen=True)
class Taken:
    """Of the lines of one request: how many are on the disk now, new or known, the sum of their digests, and the others."""

    held: int
    sum: str
    refused: tuple[Refused, ...]


class Exchange:
    """The exchange of one base. One object for all threads that serve it."""

    def __init__(self, base: Base) -> None:
        self.base = base
        self.incoming = Incoming(base.folder / "incoming")

    # entries

    def have(self, peer: Peer, sessions: Mapping[str, Summary]) -> Compared:
        """Compare what a device holds of its sessions with what is here."""
        with self.base.glance() as view:
            ours, shared = view.ledger.summaries(sessions), view.ledger.shared_places(sessions)
        differ = [id_ for id_, theirs in sessions.items() if ours.get(id_) != theirs]
        # Equal numbers and other sums, or more here than there: each side holds what the other does not.
        ahead = {id_ for id_ in differ if id_ in ours and ours[id_].n >= sessions[id_].n}
        return Compared(tuple(sorted(differ)), () if peer.is_base else tuple(sorted(shared | ahead)))

    def lack(self, peer: Peer, sessions: Mapping[str, Collection[str]]) -> Lack:
        """Of the digests that a device holds, those that are not here. One that was redacted counts as here."""
        offered = {digest for digests in sessions.values() for digest in digests}
        with self.base.glance() as view:
            known, ours = view.ledger.bodies(offered), view.ledger.digests_of(sessions)
            redacted = view.redacted()
        ahead = sorted(id_ for id_, digests in ours.items() if not digests <= set(sessions[id_]))
        return Lack(tuple(sorted(offered - known.keys() - redacted)), () if peer.is_base else tuple(ahead))

    def take(self, peer: Peer, body: bytes, *, clock_off_ms: int | None = None) -> Taken:
        """Take in entry lines. What is counted as held is on the disk when this returns.

        Args:
            body: lines `digest SP bytes LF`, at most 500 and 1 MiB.
            clock_off_ms: by how much the device's clock is ahead of ours; kept in the receipt.

        Raises:
            ExchangeError: too many lines or bytes, or no role to hand in.
            StoreError: they could not be written; none is here.
        """
        if not peer.may_hand_in:
            raise ExchangeError.of("exchange.may_not_hand_in", role=peer.role)
        lines = body.removesuffix(b"\n").split(b"\n") if body else []
        if len(lines) > MOST_LINES or len(body) > MOST_BYTES:
            raise ExchangeError.of("exchange.too_much", lines=MOST_LINES, bytes=MOST_BYTES)
        held, entries, refused = self._sorted_out(peer, lines)
        if entries:
            self.base.keep(entries, source=peer.device, clock_off_ms=clock_off_ms)
        held |= {entry.digest for entry in entries}
        return Taken(len(held), written_sum(sum(int(digest, 16) for digest in held)), tuple(refused))

    def _sorted_out(self, peer: Peer, lines: Collection[bytes]) -> tuple[set[str], list[Entry], list[Refused]]:
        """Digests that are here already, entries that may come in, and what does not. What is here is held, whoever says it.

        A request is new or was sent before, and its first line tells: nearly all are new. To look for each of its digests in a
        large ledger takes as long as to write the entries, and who keeps them looks again; so where the first is not here,
        they are judged at once, and looked for only before they are refused.
        """
        said = [(line, *split(line)) for line in lines]
        digests = [digest for _, digest, _ in said if digest]
        held: set[str] = set()
        entries: list[Entry] = []
        refused: list[Refused] = []
        with self.base.glance() as view:
            here = view.ledger.bodies(digests if view.ledger.bodies(digests[:1]) else ())
            for line, digest, body in said:
                if digest and _is_here(here, digest, body):
                    held.add(digest)
                elif isinstance(found := entry_of(digest, body, peer) if digest else judged(line, peer), Entry):
                    entries.append(found)  # of a known one the bytes here rotted: these take their place
                elif digest and _is_here(view.ledger.bodies([digest]), digest, body):
                    held.add(digest)
                else:
                    refused.append(found)
        return held, entries, refused

    # between bases

    def compare(self, prefixes: Mapping[str, Summary]) -> list[str]:
        """Groups of sessions, by the first digits of their ids, of which the two sides do not hold the same."""
        ours = self.groups()
        return sorted(one for one in ours.keys() | prefixes.keys() if ours.get(one) != prefixes.get(one))

    def groups(self) -> dict[str, Summary]:
        """What is held of each group of sessions."""
        with self.base.glance() as view:
            return grouped(view.ledger.summaries())

    def sessions(self, prefixes: Collection[str]) -> dict[str, Summary]:
        """What is held of each session of some groups."""
        wanted = set(prefixes)
        with self.base.glance() as view:
            return {id_: one for id_, one in view.ledger.summaries().items() if id_[:PREFIX] in wanted}

    def entries_after(self, place: int) -> tuple[bytes, int]:
        """Lines of what arrived here after a place, as many as one answer holds, and the place to ask after next.

        The place is as it was asked where nothing came since.
        """
        with self.base.glance() as view:
            return _lines(view.ledger, place)

    # photos and protocol files

    def photos_lack(self, digests: Iterable[str]) -> list[str]:
        """Those whose bytes are not here. What was redacted is not asked for."""
        with self.base.glance() as view:
            redacted = view.redacted()
        return sorted(digest for digest in set(digests) - redacted if self.file_of(digest) is None)

    def file_of(self, digest: str) -> Path | None:
        """Where the bytes of a photo or protocol file are."""
        stores = (self.base.photos, self.base.protocols)
        return next((store.path(digest) for store in stores if store.has(digest)), None)

    def offset(self, peer: Peer, digest: str) -> tuple[int, bool] | None:
        """How many bytes of it are here, and whether that is all; None: nothing of it."""
        path = self.file_of(digest)
        if path is not None:
            return path.stat().st_size, True
        offset = self.incoming.offset(peer.device, digest)
        return None if offset is None else (offset, False)

    def take_piece(self, peer: Peer, digest: str, piece: Piece) -> int:
        """Take in some bytes of a photo or protocol file; durable when this returns. Returns how many are here now.

        Raises:
            OffsetError, FullError, WrongError, PhotoError: as `Incoming.take`.
            ExchangeError: no role to hand in.
        """
        if not peer.may_hand_in:
            raise ExchangeError.of("exchange.may_not_hand_in", role=peer.role)
        self.base.asked_to_keep_at = time.monotonic()
        if (path := self.file_of(digest)) is not None:
            _pass_over(piece)
            return path.stat().st_size
        if piece.offset == 0 and self._is_redacted(digest):  # an old phone offers it again: it is done with it
            return _pass_over(piece)
        return self.incoming.take(peer.device, digest, piece, self._keep)

    def keep_file(self, stream: BinaryIO, digest: str) -> bool:
        """Put the bytes of a photo or protocol file, which are proved, where they belong. Returns whether they are new."""
        body = stream.read(_MOST_TEXT_BYTES + 1)
        if len(body) <= _MOST_TEXT_BYTES and _is_text(body):
            self.base.keep_protocol(body)
            return True
        stream.seek(0)
        return self.base.keep_photo(stream, digest)

    def _keep(self, path: Path, digest: str) -> None:
        """Put a complete file where it belongs, told by its bytes: no photo is a text."""
        text = path.read_bytes() if path.stat().st_size <= _MOST_TEXT_BYTES else b"\0"
        if _is_text(text):
            self.base.keep_protocol(text)
            path.unlink()
        elif self._is_redacted(digest):  # since its first piece came
            path.unlink()
        else:
            self.base.photos.adopt(path, digest)

    def _is_redacted(self, digest: str) -> bool:
        with self.base.glance() as view:
            return digest in view.redacted()


def grouped(summaries: Mapping[str, Summary]) -> dict[str, Summary]:
    """Sessions taken together by the first digits of their ids."""
    groups: dict[str, list[Summary]] = defaultdict(list)
    for id_, one in summaries.items():
        groups[id_[:PREFIX]].append(one)
    return {prefix: summed(some) for prefix, some in groups.items()}


def now() -> int:
    """This machine's clock, milliseconds since 1970 UTC."""
    return time.time_ns() // 1_000_000


def _lines(ledger: Ledger, place: int) -> tuple[bytes, int]:
    found = bytearray()
    for at, line in ledger.lines_after(place, MOST_LINES):
        if found and len(found) + len(line) > MOST_BYTES:
            break
        found += line
        place = at
    return bytes(found), place


def _is_here(bodies: Mapping[str, bytes | None], digest: str, body: bytes) -> bool:
    """Whether these are the bytes that are here, or were until they were redacted."""
    return digest in bodies and bodies[digest] in (None, body)


def _pass_over(piece: Piece) -> int:
    """Read what a sender sends all the same, so that it hears the answer. Returns how many bytes that was."""
    return sum(map(len, piece.bytes))


def _is_text(body: bytes) -> bool:
    try:
        return "\0" not in body.decode("utf-8")
    except UnicodeDecodeError:
        return False
