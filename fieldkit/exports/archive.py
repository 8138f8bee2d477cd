"""ZIP files that are the same whenever and wherever they are made from the same."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from typing import IO, BinaryIO


@contextmanager
def archive(file: BinaryIO) -> Iterator[zipfile.ZipFile]:
    """An archive to write members into."""
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as packed:
        yield packed


@contextmanager
def member(packed: zipfile.ZipFile, name: str) -> Iterator[IO[bytes]]:
    """A member to write to, of any size; it bears no time, so that equal tables make equal files."""
    about = zipfile.ZipInfo(name)
    about.compress_type = zipfile.ZIP_DEFLATED
    with packed.open(about, "w", force_zip64=True) as file:
        yield file
