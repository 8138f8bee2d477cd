"""The photo store: files by the SHA-256 of their bytes, `ab/<digest>` under one folder.

Promises: a file under its name is whole and was forced to the disk; a writer that is killed leaves only a partial in
`partial/`; no photo is changed or removed. Whatever else travels by digest, such as protocol files, can be kept the same
way in a folder of its own.
"""

from __future__ import annotations

import errno
import hashlib
import re
import secrets
import time
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, Protocol

from fieldkit import durable
from fieldkit.errors import Fault
from fieldkit.ledger import is_digest
from fieldkit.photos.errors import PhotoError

PIECE = 1024 * 1024
_PARTIAL = "partial"
_PARTIAL_LIFE_SECONDS = 24 * 60 * 60
_SHELF = re.compile(r"[0-9a-f]{2}")
FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}


class Readable(Protocol):
    def read(self, size: int, /) -> bytes: ...


class PhotoStore:
    """The photos in a folder, which is made at the first photo.

    Several threads and processes may write at once: each has partials of its own, and equal bytes have one name.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def put(self, stream: Readable, digest: str) -> bool:
        """Take in the bytes of a photo, durable when this returns.

        Returns:
            True if it is new, False if it was held already; then nothing is read.

        Raises:
            PhotoError: the bytes are not those of the digest, or could not be written. Whatever `stream` raises passes through.
        """
        if self.has(digest):
            return False
        path = self.path(digest)
        partial = self.folder / _PARTIAL / f"{digest}.{secrets.token_hex(4)}"
        source = _Source(stream)
        try:
            for folder in (path.parent, partial.parent):
                self._make(folder)
            with durable.whole_file(path, partial) as file:
                for piece in source.pieces():
                    file.write(piece)
                if source.digest != digest:
                    raise PhotoError.of("photos.wrong_digest", said=digest, true=source.digest)
        except OSError as error:
            if error is source.error:
                raise
            raise cannot_write(path, error) from error
        return True

    def adopt(self, path: Path, digest: str) -> bool:
        """Give a file on the same disk, whose bytes were proved and forced to the disk, its place here.

        Returns:
            True if it is new, False if it was held already; then the file is removed.

        Raises:
            PhotoError: it could not be moved.
        """
        if self.has(digest):
            path.unlink()
            return False
        shelf = self.path(digest).parent
        try:
            is_new = not shelf.is_dir()
            shelf.mkdir(parents=True, exist_ok=True)
            path.replace(self.path(digest))
            # Last, and together: a journal that has the newest of these names has the others, and forcing them costs nothing.
            for folder in (shelf, path.parent, *([self.folder] if is_new else [])):
                durable.force_folder(folder)
        except OSError as error:
            raise cannot_write(self.path(digest), error) from error
        return True

    def has(self, digest: str) -> bool:
        return self.path(digest).is_file()

    def open(self, digest: str) -> BinaryIO:
        """The bytes, open for reading; the caller closes.

        Raises:
            PhotoError: not held, or it cannot be read.
        """
        try:
            return self.path(digest).open("rb")
        except FileNotFoundError as error:
            raise PhotoError.of("photos.not_held", digest=digest) from error
        except OSError as error:
            raise PhotoError.of("photos.cannot_read", file=str(self.path(digest)), why=error.strerror or str(error)) from error

    def path(self, digest: str) -> Path:
        """Where the photo stands or would stand.

        Raises:
            PhotoError: this is no digest; so nothing that is not one ever becomes part of a path.
        """
        if not is_digest(digest):
            raise PhotoError.of("photos.no_digest", value=str(digest)[:80])
        return self.folder / digest[:2] / digest

    def digests(self) -> Iterator[str]:
        """All that are held, sorted."""
        for path in self._files():
            if self._is_in_place(path):
                yield path.name

    def moment(self) -> int:
        """A number that is another whenever a photo came in or went; cheap, however many there are."""
        # A folder's time moves as a name is put into it or taken out; there are 256 of them at most.
        shelves = self.folder.iterdir() if self.folder.is_dir() else ()
        return sum(shelf.stat().st_mtime_ns for shelf in shelves if shelf.name != _PARTIAL)

    def check(self) -> Iterator[Fault]:
        """Read every file again, and name those that changed and those that do not belong here. Reads only."""
        for path in self._files():
            if not self._is_in_place(path):
                yield Fault("photos.stray", {"file": str(path)})
                continue
            try:
                true = _digest_of(path)
            except OSError as error:
                yield Fault("photos.cannot_read", {"file": str(path), "why": error.strerror or str(error)})
                continue
            if true != path.name:
                yield Fault("photos.rotten", {"file": str(path), "true": true})

    def sweep(self) -> int:
        """Remove the partials that killed writers left a day ago or longer, and say how many. (Others may be writing now.)"""
        oldest = time.time() - _PARTIAL_LIFE_SECONDS
        partials = [path for path in sorted((self.folder / _PARTIAL).glob("*")) if path.stat().st_mtime < oldest]
        for partial in partials:
            partial.unlink()
        return len(partials)

    def _files(self) -> Iterator[Path]:
        if self.folder.is_dir():
            for shelf in sorted(self.folder.iterdir()):
                if shelf.name != _PARTIAL:
                    yield from sorted(shelf.iterdir()) if shelf.is_dir() else [shelf]

    def _is_in_place(self, path: Path) -> bool:
        return is_digest(path.name) and path == self.path(path.name) and path.is_file() and not path.is_symlink()

    def _make(self, folder: Path) -> None:
        """Make a folder of ours, and its name durable."""
        if not folder.is_dir():
            folder.mkdir(parents=True, exist_ok=True)
            durable.force_folder(self.folder)


class _Source:
    """The bytes that come in, hashed as they pass. Keeps apart an error of the sender from one of our disk."""

    def __init__(self, stream: Readable) -> None:
        self.error: OSError | None = None
        self._stream = stream
        self._hasher = hashlib.sha256()

    def pieces(self) -> Iterator[bytes]:
        while piece := self._read():
            self._hasher.update(piece)
            yield piece

    @property
    def digest(self) -> str:
        return self._hasher.hexdigest()

    def _read(self) -> bytes:
        try:
            return self._stream.read(PIECE)
        except OSError as error:
            self.error = error
            raise


def _digest_of(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def cannot_write(path: Path, error: OSError) -> PhotoError:
    if error.errno in FULL:
        return PhotoError.of("photos.disk_full", folder=str(path.parent.parent))
    return PhotoError.of("photos.cannot_write", file=str(path), why=error.strerror or str(error))
