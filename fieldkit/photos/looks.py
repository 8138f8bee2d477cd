"""Which photos show the same picture: recompressed, made smaller, brightened or trimmed a little, it has other bytes.

Of each photo 512 bits are kept: of a grey copy of 17 by 17 points, whether each is brighter than its neighbour to the left,
and above (a difference hash, published by N. Krawetz 2013, "Kind of Like That", and widely used; from memory). Two photos are
alike where at most `ALIKE` of these bits differ. `scripts/bench/looks.py` measures it.

The usual 64 bits do not do under water: on blue ground with one coral in the middle they call different pictures equal. So many
bits that may differ cannot be found by buckets of equal pieces either: pieces short enough that one of them is equal in most
true pairs are equal by chance in half of all others. So a new photo is held against all that are known, once: that is exact,
and takes two milliseconds for fifty thousand, where reading it takes ten times as long.

All of it is derived: whoever throws the file away loses nothing.
"""

from __future__ import annotations

import struct
import threading
import time
from collections.abc import Collection, Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps

from fieldkit.photos.errors import PhotoError
from fieldkit.photos.look import look_at, quietly
from fieldkit.photos.store import PhotoStore, cannot_write

_SIDE = 16
_BYTES = 2 * _SIDE * _SIDE // 8
_RECORD = np.dtype([("photo", "u1", 32), ("bits", "u1", _BYTES)])

ALIKE = 104
"""Bits of 512 that may differ. Measured on the sample's photos: the same picture recompressed, a third as large, brighter or
darker differs in at most 67, trimmed by 2 % of its sides in 110 and mostly 70; no two different pictures, which are drawn much
alike, in fewer than 120."""

Bits = NDArray[np.uint8]


def bits_of(photo: Path) -> Bits:
    """What a photo looks like, shape (64,).

    Raises:
        PhotoError: it is none that we can read.
    """
    look_at(photo)  # refuses what is no photo, or would unfold to too much, before any pixel is unpacked
    try:
        with quietly(), Image.open(photo, formats=["JPEG", "PNG", "WEBP"]) as opened:
            opened.draft("L", (8 * _SIDE, 8 * _SIDE))
            grey = ImageOps.exif_transpose(opened).convert("L").resize((_SIDE + 1, _SIDE + 1), Image.Resampling.BOX)
    except (OSError, ValueError, SyntaxError, EOFError, struct.error) as error:
        raise PhotoError.of("photos.no_photo", file=str(photo)) from error
    points = np.asarray(grey, dtype=np.uint8)
    across, down = points[:_SIDE, 1:] > points[:_SIDE, :-1], points[1:, :_SIDE] > points[:-1, :_SIDE]
    return np.packbits(np.concatenate([across.ravel(), down.ravel()]))


def differing(one: Bits, others: Bits) -> NDArray[np.int64]:
    """In how many bits each of the others, shape (n, 64), differs from one."""
    found: NDArray[np.int64] = np.bitwise_count(others.view(np.uint64) ^ one.view(np.uint64)).sum(axis=1, dtype=np.int64)
    return found


class Looks:
    """What the photos of a store look like, as far as they have been looked at, in one file of a folder.

    One process at a time may look (the one that serves the base); any may ask.
    """

    def __init__(self, folder: Path, photos: PhotoStore) -> None:
        self._file = folder / "looks"
        self._photos = photos
        self._lock = threading.Lock()
        self._moment: int | None = None
        """Of the store, when all of its photos had been looked at."""
        self._waiting: list[str] = []
        self._known = np.empty(0, _RECORD)
        self._compared = 0
        self._pairs: list[tuple[str, str]] = []

    def catch_up(self, seconds: float) -> bool:
        """Look at photos that nobody looked at yet, and hold them against the others, for about so long.

        Returns:
            Whether all is done. What is no photo is passed over.

        Raises:
            PhotoError: what was seen could not be written.
        """
        with self._lock:
            self._read()
            until = time.monotonic() + seconds
            if self._moment != (moment := self._photos.moment()):
                known = {photo.tobytes().hex() for photo in self._known["photo"]}
                self._waiting = [digest for digest in self._photos.digests() if digest not in known]
                self._moment = moment
            new = []
            while self._waiting and time.monotonic() < until:
                if (seen := self._look(self._waiting.pop())) is not None:
                    new.append(seen)
            if new:
                self._append(np.array(new, _RECORD))
            while self._compared < len(self._known) and time.monotonic() < until:
                self._compare_next()
            return not self._waiting and self._compared == len(self._known)

    def alike(self, photos: Collection[str]) -> dict[str, list[str]]:
        """Of each of these photos those that show the same picture, the likest first; none that nobody looked at yet."""
        with self._lock:
            self._read()
            places = {photo: np.flatnonzero(self._is(photo)) for photo in photos}
            return {photo: list(self._like(int(at[0]), len(self._known))) for photo, at in places.items() if len(at)}

    def pairs(self) -> list[tuple[str, str]]:
        """All pairs that are alike, as far as they were looked for."""
        with self._lock:
            return list(self._pairs)

    def drop(self, photo: str) -> None:
        """Forget what a photo looks like: it was redacted."""
        with self._lock:
            self._read()
            kept = self._known[~self._is(photo)]
            if len(kept) < len(self._known):
                self._file.write_bytes(kept.tobytes())
                self._known, self._compared, self._pairs = kept, 0, []

    def _is(self, photo: str) -> NDArray[np.bool_]:
        found: NDArray[np.bool_] = (self._known["photo"] == np.frombuffer(bytes.fromhex(photo), np.uint8)).all(axis=1)
        return found

    def _read(self) -> None:
        """Take in what is in the file and not here; a record that a killed writer left half is cut off with the next."""
        size = self._file.stat().st_size if self._file.is_file() else 0
        if size // _RECORD.itemsize != len(self._known):
            self._known = np.fromfile(self._file, _RECORD) if size else np.empty(0, _RECORD)
            self._compared, self._pairs = 0, []

    def _append(self, new: NDArray[np.void]) -> None:
        try:
            self._file.parent.mkdir(parents=True, exist_ok=True)
            with self._file.open("ab") as file:
                file.truncate(len(self._known) * _RECORD.itemsize)
                file.write(new.tobytes())
        except OSError as error:
            raise cannot_write(self._file, error) from error
        self._known = np.concatenate([self._known, new])

    def _look(self, photo: str) -> tuple[Bits, Bits] | None:
        try:
            return np.frombuffer(bytes.fromhex(photo), np.uint8), bits_of(self._photos.path(photo))
        except PhotoError:
            return None

    def _compare_next(self) -> None:
        one = self._known["photo"][self._compared].tobytes().hex()
        self._pairs += [(other, one) for other in self._like(self._compared, self._compared)]
        self._compared += 1

    def _like(self, place: int, among: int) -> Iterator[str]:
        """The photos alike to one, among the first so many, the likest first."""
        bits = np.ascontiguousarray(self._known["bits"][:among])
        far = differing(np.ascontiguousarray(self._known["bits"][place]), bits)
        for i in sorted(np.flatnonzero(far <= ALIKE), key=lambda i: (far[i], i)):
            if i != place:
                yield self._known["photo"][i].tobytes().hex()
