"""Photos on their way in, piece by piece, so that a dropped link costs no more than the piece that it cut.

    DIR/incoming/<device>-<digest>

Only the whole is acknowledged: its digest is proved, its bytes are forced to the disk, it gets its name, and the name is
forced too; then the answer says complete. The offset that is told before is where to go on, and no promise beyond the life of
this machine: a piece is handed to the system, which outlives a killed process, and begins to write it at once; nobody waits
until it has. Forcing each piece would make a phone wait and win nothing:

- server killed or started anew: the system has all that was answered for, and writes it. The offset is the same.
- power cut: of the partial the disk has all, a beginning, or (a file system may write the size before the bytes) zeros or what
  stood there before. A beginning is continued where it ends: a device asks for the offset before it goes on, and is told the
  true one where it does not fit. Whatever else is there does not have the digest: it is thrown away with the last piece, the
  device hears so and sends the photo once more, of which it let go no sooner than it heard that all is here.
- the disk fails: at the latest the last piece hears of it. Then the partial is thrown away, for what the system holds of it in
  memory is not what is on the disk.

Each device has partials of its own, so that one which sends wrong bytes cannot spoil what another sends. What nobody continued
for a month is swept.
"""

from __future__ import annotations

import hashlib
import shutil
import threading
import time
from collections import OrderedDict
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from io import RawIOBase
from pathlib import Path
from typing import Protocol

from fieldkit import durable
from fieldkit.errors import FieldkitError
from fieldkit.ledger import is_digest, is_id
from fieldkit.photos.errors import PhotoError
from fieldkit.photos.look import MAX_BYTES
from fieldkit.photos.store import FULL, cannot_write

LIFE_SECONDS = 30 * 24 * 60 * 60
RESERVE = 32 * 1024 * 1024
"""Bytes left free on the disk for what was noted: entries come before photos. Chosen by us."""

_MOST_HASHERS = 64  # that are kept at once; of others the digest is taken from the disk when they are complete


class OffsetError(FieldkitError):
    """A piece that does not begin where the last one ended; carries where that is."""

    def __init__(self, offset: int) -> None:
        super().__init__(*PhotoError.of("photos.offset", offset=offset).faults)
        self.offset = offset


class FullError(PhotoError):
    """The disk has no room for it; nothing of the piece was kept."""


class WrongError(PhotoError):
    """All bytes came, and they are not those of the digest; they were thrown away."""


class Keep(Protocol):
    def __call__(self, path: Path, digest: str) -> object: ...


@dataclass(frozen=True)
class Piece:
    """Some bytes of a photo.

    `length` is how many bytes the whole has, where the sender said; `is_last` whether it ends with this piece.
    """

    offset: int
    bytes: Iterable[bytes]
    size: int
    is_last: bool
    length: int | None = None


@dataclass
class _Hasher:
    """The digest of the first `size` bytes of a partial, as far as this process wrote them."""

    size: int = 0
    sha256: hashlib._Hash = field(default_factory=hashlib.sha256)


class Incoming:
    """Partials in a folder, which is made at the first of them. Threads may share it; one process at a time."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._hashers: OrderedDict[Path, _Hasher] = OrderedDict()
        self._at_work: set[Path] = set()
        self._changed = threading.Condition()

    def offset(self, device: str, digest: str) -> int | None:
        """How many bytes of it are here; None: nothing is."""
        try:
            return self._path(device, digest).stat().st_size
        except FileNotFoundError:
            return None

    def take(self, device: str, digest: str, piece: Piece, keep: Keep) -> int:
        """Write a piece down. With the last one the whole is on the disk when this returns.

        Args:
            keep: what to do with the file when it is complete, proved and forced to the disk; it takes the file away.

        Returns:
            How many bytes are here now.

        Raises:
            OffsetError: the piece does not begin where the last one ended.
            FullError: no room for it.
            WrongError: complete, and not the bytes of the digest.
            PhotoError: too large, or the disk fails.
        """
        path = self._path(device, digest)
        with self._alone(path):
            there = self.offset(device, digest) or 0
            if piece.offset != there:
                raise OffsetError(there)
            whole = max(there + piece.size, piece.length or 0)
            if whole > MAX_BYTES:
                raise PhotoError.of("photos.too_large", file=digest, bytes=whole, most=MAX_BYTES)
            self._refuse_without_room(path, whole - there)
            hasher = self._write(path, piece)
            if piece.is_last and hasher.size == there + piece.size:
                self._finish(path, digest, hasher, keep)
            return hasher.size

    def sweep(self, *, now: float | None = None) -> int:
        """Throw away what nobody continued for a month; says how many."""
        oldest = (time.time() if now is None else now) - LIFE_SECONDS
        old = [path for path in sorted(self.folder.glob("*")) if path.stat().st_mtime < oldest]
        for path in old:
            path.unlink()
        return len(old)

    def _path(self, device: str, digest: str) -> Path:
        if not (is_digest(digest) and is_id(device)):  # nothing else becomes part of a path
            raise PhotoError.of("photos.no_digest", value=str(digest)[:80])
        return self.folder / f"{device}-{digest}"

    @contextmanager
    def _alone(self, path: Path) -> Iterator[None]:
        """One request at a time for one partial: a phone that gave up waiting sends again while the first is being written."""
        with self._changed:
            self._changed.wait_for(lambda: path not in self._at_work)
            self._at_work.add(path)
        try:
            yield
        finally:
            with self._changed:
                self._at_work.discard(path)
                self._changed.notify_all()

    def _refuse_without_room(self, path: Path, needed: int) -> None:
        existing = next(folder for folder in (self.folder, *self.folder.parents) if folder.is_dir())
        if shutil.disk_usage(existing).free < needed + RESERVE:
            raise FullError.of("photos.disk_full", folder=str(path.parent.parent))

    def _write(self, path: Path, piece: Piece) -> _Hasher:
        """Append what comes; where the sender breaks off, what came is kept. Where the disk fails, nothing of the piece is."""
        with self._failing(path):
            self.folder.mkdir(parents=True, exist_ok=True)
            with path.open("ab", buffering=0) as file:
                hasher = self._hasher(path, piece.offset)
                try:
                    for some in piece.bytes:
                        _write_all(file, some)
                        hasher.sha256.update(some)
                        hasher.size += len(some)
                except OSError:
                    self._hashers.pop(path, None)
                    _cut(file, piece.offset)
                    raise
                durable.begin(file)
        return hasher

    def _hasher(self, path: Path, size: int) -> _Hasher:
        """The digest so far. A process that was started anew reads it from the disk."""
        found = self._hashers.pop(path, None)
        if found is None or found.size != size:
            found = _Hasher()
            with path.open("rb") as file:
                while some := file.read(1024 * 1024):
                    found.sha256.update(some)
                    found.size += len(some)
        self._hashers[path] = found
        while len(self._hashers) > _MOST_HASHERS:
            self._hashers.popitem(last=False)
        return found

    def _finish(self, path: Path, digest: str, hasher: _Hasher, keep: Keep) -> None:
        self._hashers.pop(path, None)
        true = hasher.sha256.hexdigest()
        if true != digest:
            path.unlink()
            raise WrongError.of("photos.wrong_digest", said=digest, true=true)
        with self._failing(path):
            try:
                with path.open("ab") as file:
                    durable.force(file)
            except OSError:
                path.unlink()  # some of it may be in memory alone, and nothing would say which
                raise
        keep(path, digest)

    @contextmanager
    def _failing(self, path: Path) -> Iterator[None]:
        """What the disk says, as what it means to who hands in."""
        try:
            yield
        except OSError as error:
            if error.errno in FULL:
                raise FullError.of("photos.disk_full", folder=str(path.parent.parent)) from error
            raise cannot_write(path, error) from error


def _write_all(file: RawIOBase, some: bytes) -> None:
    """Without a buffer between: what is hashed is what was written."""
    rest = memoryview(some)
    while rest:
        rest = rest[file.write(rest) or 0 :]


def _cut(file: RawIOBase, size: int) -> None:
    """Back to what was promised, and no further."""
    with suppress(OSError):
        file.truncate(size)
