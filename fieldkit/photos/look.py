"""What a photo says of itself: what kind of picture it is, how large, and when its camera thinks it was taken.

Judged by the bytes, never by the file's name. Only headers are read: no pixel is unpacked, so a picture that would burst the
memory is refused before it can.
"""

from __future__ import annotations

import os
import re
import struct
import threading
import warnings
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import BinaryIO

from PIL import ExifTags, Image, UnidentifiedImageError

from fieldkit.photos.errors import PhotoError

MAX_BYTES = 64 * 1024 * 1024
MAX_PIXELS = 89_478_485  # from where on Pillow warns of a decompression bomb: a quarter of a GiB unpacked
_TYPES = {
    "JPEG": "image/jpeg",
    "MPO": "image/jpeg",
    "PNG": "image/png",
    "WEBP": "image/webp",
}  # MPO: several JPEGs, the first counts
_HEIC = re.compile(rb".{4}ftyp(?:heic|heix|heim|heis|mif1|msf1)", re.DOTALL)
_ONE_AT_A_TIME = threading.Lock()


@dataclass(frozen=True)
class Looked:
    """A photo's own account. Width and height in pixels as stored, before any turning that its EXIF asks for."""

    type: str
    width: int
    height: int
    camera_time: str | None  # "2026-11-12T09:31:07" by the camera's own clock; of what zone nobody knows
    bytes: int


def look_at(source: Path | BinaryIO) -> Looked:
    """Look at a photo in a file or an open stream (which can be searched). Reads only.

    Raises:
        PhotoError: it is no photo that we know, cut off within its header, or too large in bytes or pixels.
    """
    name = str(getattr(source, "name", "-")) if not isinstance(source, Path) else str(source)
    with _opened(source, name) as file:
        size = file.seek(0, os.SEEK_END)
        if size > MAX_BYTES:
            raise PhotoError.of("photos.too_large", file=name, bytes=size, most=MAX_BYTES)
        file.seek(0)
        if _HEIC.match(file.read(12)):
            raise PhotoError.of("photos.heic", file=name)
        file.seek(0)
        return _look(file, name, size)


@contextmanager
def _opened(source: Path | BinaryIO, name: str) -> Iterator[BinaryIO]:
    try:
        with source.open("rb") if isinstance(source, Path) else nullcontext(source) as file:
            yield file
    except OSError as error:
        raise PhotoError.of("photos.cannot_read", file=name, why=error.strerror or str(error)) from error


@contextmanager
def quietly() -> Iterator[None]:
    """Without Pillow's warnings: what they speak of is judged here. They are switched for all threads, so one at a time."""
    with _ONE_AT_A_TIME, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield


def _look(file: BinaryIO, name: str, size: int) -> Looked:
    try:
        with quietly(), Image.open(file, formats=["JPEG", "PNG", "WEBP"]) as picture:
            width, height, kind = *picture.size, str(picture.format)
            exif = picture.info.get("exif", b"")
    except Image.DecompressionBombError as error:
        raise PhotoError.of("photos.too_many_pixels", file=name, most=MAX_PIXELS) from error
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, EOFError, struct.error) as error:
        raise PhotoError.of("photos.no_photo", file=name) from error
    if width * height > MAX_PIXELS:
        raise PhotoError.of("photos.too_many_pixels", file=name, most=MAX_PIXELS)
    return Looked(_TYPES[kind], width, height, _camera_time(exif), size)


def _camera_time(exif: bytes) -> str | None:
    """DateTimeOriginal as ISO 8601 without a zone; None where it is absent, or no time (an unset clock tells zeros)."""
    told = Image.Exif()
    try:
        with quietly():
            told.load(exif)
            time = told.get_ifd(ExifTags.IFD.Exif).get(ExifTags.Base.DateTimeOriginal)
        return datetime.strptime(str(time).strip("\0 "), "%Y:%m:%d %H:%M:%S").isoformat()
    except (OSError, ValueError, SyntaxError, EOFError, KeyError, TypeError, struct.error):
        return None  # a photo whose EXIF is broken is a photo all the same; it only has no time
