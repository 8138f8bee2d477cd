"""Whether a base may lie where it lies: on a disk of this computer, in a folder that no other program copies about.

SQLite's log (WAL) needs memory that all who use the file share, which a network drive does not give
(https://sqlite.org/wal.html: "WAL does not work over a network filesystem"). A program that keeps a folder equal on several
machines copies the file and its log at different moments, and mixes the two up (https://sqlite.org/howtocorrupt.html).
"""

from __future__ import annotations

import ctypes
import re
import sys
from pathlib import Path

# Kinds of file systems that lie on another machine, as Linux names them in /proc/self/mounts.
_OVER_THE_NETWORK = re.compile(
    r"nfs\d?|cifs|smb\w*|afs|ncpfs|ceph|glusterfs|lustre|davfs|fuse\.(sshfs|rclone|davfs\w*|s3fs|gvfsd\S*)"
)
_ESCAPED = re.compile(r"\\([0-7]{3})")
_REMOTE_DRIVE = 4  # GetDriveTypeW, as Windows documents it

# Names of folders that programs keep equal on several machines; by name alone, so a hint, not a proof.
_SYNCED = re.compile(
    r"dropbox.*|onedrive.*|google ?drive.*|my drive|icloud.*|mobile documents|com~apple~clouddocs|nextcloud|owncloud|syncthing",
    re.IGNORECASE,
)


def is_over_the_network(folder: Path) -> bool:
    """Whether a folder lies on another machine, as far as this system tells."""
    if sys.platform == "win32":
        root = str(folder.resolve().anchor)
        return root.startswith("\\\\") or ctypes.windll.kernel32.GetDriveTypeW(root) == _REMOTE_DRIVE
    try:
        mounts = Path("/proc/self/mounts").read_text("utf-8", "surrogateescape")
    except OSError:
        return False  # macOS does not tell without another program
    return bool(_OVER_THE_NETWORK.fullmatch(kind_of_disk(folder.resolve(), mounts)))


def kind_of_disk(folder: Path, mounts: str) -> str:
    """The kind of file system that a folder lies on.

    Args:
        folder: absolute.
        mounts: the text of /proc/self/mounts (proc(5)): device, mount point, kind …, blanks written as \\040.
    """
    found = (0, "")
    for line in mounts.splitlines():
        _, point, kind, *_ = line.split(" ")
        point = _ESCAPED.sub(lambda octal: chr(int(octal[1], 8)), point)
        if folder.is_relative_to(point) and len(point) >= found[0]:
            found = len(point), kind
    return found[1]


def synced_by(folder: Path) -> str | None:
    """The folder above, or this one, whose name is that of a folder that another program keeps equal on several machines."""
    return next((part for part in folder.resolve().parts if _SYNCED.fullmatch(part)), None)
