"""The file in which a base keeps who may speak to it.

Only this module knows how it is opened. As with the base's own file, one process writes at a time (SQLite before 3.51.3 can
corrupt a WAL file that two connections write or checkpoint together), and no error of SQLite leaves as such.
"""

from __future__ import annotations

import errno
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from filelock import FileLock, Timeout
from sqlite_utils import Database

from fieldkit.access.errors import AccessError
from fieldkit.access.migrations import access as migrations

FILE = "access.db"
_PATIENCE_SECONDS = 10  # every write here is a line or two
_LOOK_EVERY = 0.01


class AccessDatabase:
    """The file of one base. Makes it when it is first written to; holds no connection between calls, but where `held` is
    asked for."""

    def __init__(self, folder: Path) -> None:
        self._path = folder / FILE
        self._lock = folder / "access.lock"
        self._is_current = False
        self._held: sqlite3.Connection | None = None
        self._one_at_a_time = threading.Lock()

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """What is on the disk now, to be read while the block lasts."""
        self._bring_up_to_date()
        with self._meaning(), self._one_at_a_time:
            if self._held is not None:
                yield self._held
            else:
                with closing(self._open_to_read()) as connection:
                    yield connection

    @contextmanager
    def held(self) -> Iterator[None]:
        """Keep a connection open while the block lasts: each request asks whose token it has, and to open one takes longer."""
        self._bring_up_to_date()
        with self._meaning():
            self._held = self._open_to_read()
            self._held.execute("SELECT * FROM device").close()  # opens it in truth, while the disk has room for what that takes
        try:
            yield
        finally:
            with self._one_at_a_time:
                held, self._held = self._held, None
                held.close()

    def _open_to_read(self) -> sqlite3.Connection:
        address = f"{self._path.absolute().as_uri()}?mode=ro"
        # `_one_at_a_time` sees to it that threads do not use it at once.
        connection = sqlite3.connect(address, uri=True, timeout=_PATIENCE_SECONDS, check_same_thread=False)
        connection.row_factory = sqlite3.Row
        return connection

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction: all of it is on the disk when the block ends, or none."""
        self._bring_up_to_date()
        with self._writing() as connection:
            connection.execute("BEGIN IMMEDIATE")
            with connection:
                yield connection

    def _bring_up_to_date(self) -> None:
        if not self._is_current:
            with self._writing() as connection:
                self._path.chmod(0o600)
                migrations.apply(Database(connection))
            self._is_current = True

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        with self._meaning(), FileLock(self._lock, timeout=_PATIENCE_SECONDS, poll_interval=_LOOK_EVERY):
            connection = sqlite3.connect(self._path, timeout=_PATIENCE_SECONDS, isolation_level=None)
            with closing(connection):
                connection.row_factory = sqlite3.Row
                for pragma in ("journal_mode = WAL", "synchronous = FULL", "fullfsync = ON", "foreign_keys = ON"):
                    connection.execute(f"PRAGMA {pragma}")
                yield connection

    @contextmanager
    def _meaning(self) -> Iterator[None]:
        try:
            yield
        except (sqlite3.Error, Timeout, OSError) as error:
            key = "access.disk_full" if _is_full(error) else "access.cannot_keep"
            raise AccessError.of(key, file=str(self._path), why=str(error)) from error


def _is_full(error: Exception) -> bool:
    is_full = getattr(error, "sqlite_errorcode", 0) & 0xFF == sqlite3.SQLITE_FULL
    return is_full or getattr(error, "errno", None) in (errno.ENOSPC, errno.EDQUOT)
