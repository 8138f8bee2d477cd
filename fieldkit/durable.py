"""Files that are there whole or not at all, whatever happens while they are written.

Bytes go to a partial name first, are forced to the disk, and only then get their name; the folder that holds the name is
forced too, for without that a power cut can take the name back. What a killed writer leaves is a partial, never half a file.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from io import RawIOBase
from pathlib import Path
from typing import BinaryIO

if sys.platform == "darwin":
    import fcntl


@contextmanager
def whole_file(path: Path, partial: Path) -> Iterator[BinaryIO]:
    """A file to write to that becomes `path` when the block ends well, and is gone when it does not.

    Args:
        path: where the file is to stand; one that stands there already is replaced.
        partial: a name that nothing else uses, on the same disk.

    Raises:
        OSError: whatever the disk says; then `path` is as it was.
    """
    try:
        with partial.open("xb") as file:
            yield file
            force(file)
        partial.replace(path)
    except BaseException:
        partial.unlink(missing_ok=True)
        raise
    for folder in {path.parent, partial.parent}:
        force_folder(folder)


def begin(file: RawIOBase) -> None:
    """Let what was written so far go to the disk, where the system lets us say so. Waits for nothing and promises nothing: but
    who forces the file later waits less."""
    if sys.platform == "linux":
        os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)


def force(file: BinaryIO | RawIOBase, *, drop: bool = True) -> None:
    """Make what was written so far survive a power cut.

    Args:
        drop: where the system lets us, what is read next comes from the disk.
    """
    file.flush()
    _force(file.fileno())
    if drop and sys.platform == "linux":
        os.posix_fadvise(file.fileno(), 0, 0, os.POSIX_FADV_DONTNEED)


def force_folder(folder: Path) -> None:
    """Make the names in a folder survive a power cut. (Windows keeps them in its journal and opens no folder.)"""
    if sys.platform == "win32":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        _force(handle)
    finally:
        os.close(handle)


def _force(handle: int) -> None:
    if sys.platform == "darwin":
        fcntl.fcntl(handle, fcntl.F_FULLFSYNC)  # fsync there stops at the drive's own cache
    else:
        os.fsync(handle)
