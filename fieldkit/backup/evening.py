"""Backups that are made by themselves while a base is served: after each boat day, when all is in and it has been quiet."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from pathlib import Path

from fieldkit.backup.backup import back_up
from fieldkit.backup.place import kept
from fieldkit.base import Base
from fieldkit.errors import FieldkitError

QUIET_MS = 15 * 60 * 1000  # since the last hand-in, when every session that was closed is here whole
PATIENCE_MS = 3 * 60 * 60 * 1000  # since the last hand-in, when some are not: a phone may be lost. Both chosen by us.
_LOOK_EVERY_SECONDS = 60.0


def is_due(base: Base, *, now: int) -> bool:
    """Whether a backup should be made: something came in since the last one, and nothing more is to be expected soon.

    Args:
        now: this machine's clock, ms since 1970 UTC.
    """
    place = kept(base.folder)
    if place is None:
        return False
    with base.glance() as view:
        (came,) = view.rows("SELECT max(received_at) AS at FROM receipt")
    if came["at"] is None or came["at"] <= (place.made_at or 0):
        return False
    quiet_ms = now - int(came["at"])
    return quiet_ms >= PATIENCE_MS or (quiet_ms >= QUIET_MS and _all_is_in(base, since=place.made_at or 0))


def _all_is_in(base: Base, *, since: int) -> bool:
    """Whether of each session that came since then as much is here as was promised when it was closed."""
    with base.view() as view:
        rows = view.rows(
            "SELECT DISTINCT session FROM ledger JOIN receipt ON place BETWEEN first AND last WHERE received_at > ?", since
        )
        sessions = view.sessions([row["session"] for row in rows]).values()
    return all(row.session.promised is None or row.session.held >= row.session.promised for row in sessions)


class Evening:
    """Looks every minute while a base is served, in a thread of its own."""

    def __init__(self, base: Base, *, clock: Callable[[], int] = lambda: time.time_ns() // 1_000_000) -> None:
        self._base = base
        self._clock = clock
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._look, name="fieldkit backup", daemon=True)

    def __enter__(self) -> Evening:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ended.set()

    def _look(self) -> None:
        while not self._ended.wait(_LOOK_EVERY_SECONDS):
            self.look_once()

    def look_once(self) -> None:
        """Make a backup if one is due. Where it fails, the pages say how old the newest is, and the next minute tries again."""
        place = kept(self._base.folder)
        try:
            if place is not None and Path(place.place).is_dir() and is_due(self._base, now=self._clock()):
                back_up(self._base, Path(place.place))
        except FieldkitError as error:
            logging.getLogger(__name__).warning("%s", error)
