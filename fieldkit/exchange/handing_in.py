"""Handing in: everything that the other side lacks, and nothing that it holds. A device does it to a base, a base to another.

No step depends on an earlier one having been remembered. Where it breaks off it is begun again from the top, and costs what
was not done.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from http import HTTPStatus
from itertools import islice
from typing import BinaryIO, Protocol, TypeVar

from fieldkit.errors import Fault
from fieldkit.exchange.errors import ExchangeError
from fieldkit.exchange.exchange import MOST_BYTES, MOST_LINES, PIECE, now
from fieldkit.exchange.wire import Wire, asked, refusal
from fieldkit.ledger.migrations import written_sum
from fieldkit.ledger.store import Summary

SESSIONS_AT_ONCE = 5_000
DIGESTS_AT_ONCE = 20_000
PHOTOS_AT_ONCE = 2

Item = TypeVar("Item")


class Holding(Protocol):
    """What somebody holds and may hand in."""

    def summaries(self) -> Mapping[str, Summary]:
        """What is held of each session."""

    def digests(self, sessions: Collection[str]) -> Mapping[str, Collection[str]]:
        """Digests of the entries of each of these sessions."""

    def lines(self, digests: Collection[str]) -> Iterable[bytes]:
        """These entries, as they travel."""

    def photos(self) -> Collection[str]:
        """Digests of the photos and protocol files that are held."""

    def open_photo(self, digest: str) -> BinaryIO:
        """The bytes of one; who asked closes it."""


@dataclass
class HandedIn:
    """What became of it."""

    entries: int = 0
    photos: int = 0
    refused: list[tuple[str, str]] = field(default_factory=list)
    """Digest, and a sentence why."""
    forked: set[str] = field(default_factory=set)
    """Sessions that were continued twice: go on in a new one."""
    clock_off_ms: int | None = None
    faults: list[Fault] = field(default_factory=list)
    """Photos that could not be read here."""


def hand_in(
    wire: Wire,
    holding: Holding,
    *,
    at: int | None = None,
    unsent: Mapping[str, int] | None = None,
    differ: Collection[str] | None = None,
    told: Callable[[int, int], None] = lambda _done, _of: None,
) -> HandedIn:
    """Hand in what the base at the other end lacks.

    Args:
        at: this side's clock, ms.
        unsent: `entries` and `photos` that only this side holds, as far as it knows.
        differ: sessions that are known to differ; absent: ask.
        told: is called with how much of how much is done, as it goes.

    Raises:
        ExchangeError: it broke off. What was acknowledged is there; begin again.
    """
    done = HandedIn()
    summaries = holding.summaries()
    if differ is None:
        differ = _compared(wire, summaries, now() if at is None else at, unsent or {"entries": 0, "photos": 0}, done)
    lacking = [
        digest for some in _portions(sorted(set(differ)), SESSIONS_AT_ONCE) for digest in _lacking(wire, holding, some, done)
    ]
    for batch in batches(holding.lines(lacking)):
        _send_lines(wire, batch, done)
        told(done.entries, len(lacking))
    photos = [
        digest
        for some in _portions(sorted(holding.photos()), DIGESTS_AT_ONCE)
        for digest in asked(wire, "POST", "photos/lack", {"photos": some})["lack"]
    ]
    for i, is_there in enumerate(_sent_some_at_a_time(wire, holding, photos, done), 1):
        done.photos += is_there
        told(i, len(photos))
    return done


def _sent_some_at_a_time(wire: Wire, holding: Holding, photos: Collection[str], done: HandedIn) -> Iterator[bool]:
    """Whether each is there now. The other side never waits for the next to begin, nor this one until one is on the disk."""
    sending = ThreadPoolExecutor(PHOTOS_AT_ONCE)
    try:
        yield from sending.map(lambda digest: send_photo(wire, holding, digest, done), photos)
    finally:
        sending.shutdown(cancel_futures=True)  # where one broke off, those that are on their way are waited for


def send_photo(wire: Wire, holding: Holding, digest: str, done: HandedIn) -> bool:
    """Send what is lacking of a photo, piece by piece. Returns whether all of it is there now.

    Where all of it came and is not what its digest says, it is sent once more; then the fault lies here.
    """
    for _ in range(2):
        with holding.open_photo(digest) as file:
            if _sent(wire, file, digest):
                return True
    done.faults.append(Fault("exchange.damaged_photo", {"digest": digest}))
    return False


def _sent(wire: Wire, file: BinaryIO, digest: str) -> bool:
    """Send from where the other side is. Returns False if it found another digest."""
    size = file.seek(0, 2)
    offset = _offset(wire, digest)
    while offset is not None:
        file.seek(offset)
        piece = file.read(PIECE)
        is_last = offset + len(piece) >= size
        headers = {
            "Content-Type": "application/partial-upload",
            "Upload-Offset": str(offset),
            "Upload-Complete": "?1" if is_last else "?0",
            "Upload-Length": str(size),
        }
        answer = wire.ask("PATCH", f"photos/{digest}", body=piece, headers=headers)
        if answer.status == HTTPStatus.UNPROCESSABLE_ENTITY:
            return False
        if not (answer.is_good or answer.status == HTTPStatus.CONFLICT):
            raise refusal(answer)
        offset = None if answer.headers.get("upload-complete") == "?1" else int(answer.headers["upload-offset"])
    return True


def batches(lines: Iterable[bytes]) -> Iterator[list[bytes]]:
    """Lines in as many requests as they need."""
    batch: list[bytes] = []
    size = 0
    for line in lines:
        if batch and (len(batch) == MOST_LINES or size + len(line) > MOST_BYTES):
            yield batch
            batch, size = [], 0
        batch.append(line)
        size += len(line)
    if batch:
        yield batch


def _compared(wire: Wire, summaries: Mapping[str, Summary], at: int, unsent: Mapping[str, int], done: HandedIn) -> list[str]:
    differ: list[str] = []
    for some in _portions(sorted(summaries), SESSIONS_AT_ONCE) or [[]]:
        said = {id_: [summaries[id_].n, summaries[id_].sum] for id_ in some}
        found = asked(wire, "POST", "have", {"at": at, "sessions": said, "unsent": dict(unsent)})
        differ += found["differ"]
        done.forked |= set(found["forked"])
        done.clock_off_ms = found["clock_off_ms"]
    return differ


def _lacking(wire: Wire, holding: Holding, sessions: list[str], done: HandedIn) -> list[str]:
    found: list[str] = []
    for said in _portioned(holding.digests(sessions)):
        answer = asked(wire, "POST", "lack", {"sessions": said})
        found += answer["lack"]
        done.forked |= set(answer["forked"])
    return found


def _portioned(digests: Mapping[str, Collection[str]]) -> Iterator[dict[str, list[str]]]:
    """Whole sessions, as many at once as one request holds."""
    portion: dict[str, list[str]] = defaultdict(list)
    n = 0
    for session, some in sorted(digests.items()):
        if n and n + len(some) > DIGESTS_AT_ONCE:
            yield dict(portion)
            portion.clear()
            n = 0
        portion[session] = sorted(some)
        n += len(some)
    if portion:
        yield dict(portion)


def _send_lines(wire: Wire, batch: list[bytes], done: HandedIn) -> None:
    answer = wire.ask("POST", "entries", body=b"".join(batch), headers={"Content-Type": "text/plain; charset=utf-8"})
    if not answer.is_good:
        raise refusal(answer)
    said = answer.json()
    refused = {one["digest"]: one["detail"] for one in said["refused"]}
    digests = {line[:64].decode("ascii") for line in batch} - refused.keys()
    if (said["held"], said["sum"]) != (len(digests), written_sum(sum(int(digest, 16) for digest in digests))):
        raise ExchangeError.of("exchange.not_acknowledged")
    done.entries += len(digests)
    done.refused += sorted(refused.items())


def _offset(wire: Wire, digest: str) -> int | None:
    """Where to go on; None: all of it is there."""
    answer = wire.ask("HEAD", f"photos/{digest}")
    if answer.status == 404:
        return 0
    if not answer.is_good:
        raise refusal(answer)
    return None if answer.headers["upload-complete"] == "?1" else int(answer.headers["upload-offset"])


def _portions(items: Collection[Item], size: int) -> list[list[Item]]:
    rest = iter(items)
    return list(iter(lambda: list(islice(rest, size)), []))
