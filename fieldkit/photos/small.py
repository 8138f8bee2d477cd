"""Small copies of photos, made when they are first looked at. Derived: whoever throws the folder away loses nothing.

A copy stands upright as the camera's EXIF asks for, and carries nothing of it along: no position, no time, no name, no remark.
The photo itself is never touched.
"""

from __future__ import annotations

import secrets
import struct
import threading
from pathlib import Path

from PIL import Image, ImageOps

from fieldkit import durable
from fieldkit.photos.errors import PhotoError
from fieldkit.photos.look import look_at, quietly
from fieldkit.photos.store import PhotoStore

SIZES = (320, 1280)
"""Longest sides of copies in pixels: one of several side by side, and one that fills a screen. Chosen by us."""

_QUALITY = 82
_ONE_AT_A_TIME = threading.Lock()  # a photo unfolds to a quarter of a GiB at worst: several at once would burst a small laptop


class SmallCopies:
    """The small copies of a store's photos, `ab/<digest>-<size>.jpg` under a folder that is made at the first one."""

    def __init__(self, folder: Path, photos: PhotoStore) -> None:
        self.folder = folder
        self._photos = photos

    def get(self, digest: str, size: int) -> Path:
        """The copy of that size, made where there is none yet.

        Raises:
            PhotoError: the photo is not held, is none that we can read, or the copy could not be written.
        """
        if size not in SIZES:
            raise PhotoError.of("photos.no_such_size", size=size, known=", ".join(map(str, SIZES)))
        if not self._photos.has(digest):
            raise PhotoError.of("photos.not_held", digest=digest)
        path = self._path(digest, size)
        if not path.is_file():
            with _ONE_AT_A_TIME:
                if not path.is_file():  # another may have made it while we waited
                    self._make(self._photos.path(digest), path, size)
        return path

    def drop(self, digest: str) -> None:
        """Remove what there is of a photo's copies: it was redacted."""
        for size in SIZES:
            self._path(digest, size).unlink(missing_ok=True)

    def _path(self, digest: str, size: int) -> Path:
        return self.folder / digest[:2] / f"{digest}-{size}.jpg"

    def _make(self, photo: Path, path: Path, size: int) -> None:
        copy = _small(photo, size)
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            with durable.whole_file(path, path.with_name(f"{path.name}.{secrets.token_hex(4)}")) as file:
                copy.save(file, "JPEG", quality=_QUALITY, optimize=True)
        except OSError as error:
            raise PhotoError.of("photos.cannot_write", file=str(path), why=error.strerror or str(error)) from error


def _small(photo: Path, size: int) -> Image.Image:
    """The picture, upright and no larger than the size; of what stood beside its pixels nothing is left."""
    look_at(photo)  # refuses what is no photo, or would unfold to too much, before any pixel is unpacked
    try:
        with quietly(), Image.open(photo, formats=["JPEG", "PNG", "WEBP"]) as opened:
            opened.draft("RGB", (size, size))
            upright = ImageOps.exif_transpose(opened).convert("RGB")
            upright.thumbnail((size, size))
            upright.info = {}
            return upright
    except (OSError, ValueError, SyntaxError, EOFError, struct.error) as error:
        raise PhotoError.of("photos.no_photo", file=str(photo)) from error
