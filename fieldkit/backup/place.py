"""Where a base's backups go, and when the last one was made: chosen once, kept beside the base.

DIR/backup.json    {"made_at": 1764052800123, "place": "/media/blue stick"}
"""

from __future__ import annotations

import json
import time
from dataclasses import asdict, dataclass
from pathlib import Path

from fieldkit.durable import whole_file

FILE = "backup.json"
_DAY_MS = 24 * 60 * 60 * 1000


@dataclass(frozen=True)
class Kept:
    """The place chosen, and when a backup was last made and proved there (ms since 1970 UTC; None: never)."""

    place: str
    made_at: int | None = None


def kept(folder: Path) -> Kept | None:
    """What is remembered of the backups of the base in a folder; None: no place was chosen."""
    try:
        said = json.loads((folder / FILE).read_text("utf-8"))
        return Kept(str(said["place"]), said["made_at"])
    except (FileNotFoundError, ValueError, KeyError, TypeError):
        return None


def remember(folder: Path, one: Kept) -> None:
    """Keep it in mind for the base in a folder."""
    with whole_file(folder / FILE, folder / f".{FILE}.part") as file:
        file.write(json.dumps(asdict(one), sort_keys=True).encode("utf-8"))


def newest_days_old(folder: Path, *, now: int | None = None) -> int | None:
    """How many whole days ago the newest backup was made; None: there is none."""
    one = kept(folder)
    if one is None or one.made_at is None:
        return None
    return max(0, ((time.time_ns() // 1_000_000 if now is None else now) - one.made_at) // _DAY_MS)
