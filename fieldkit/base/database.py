"""The database file of a base: who may open it how, and what it means when that fails.

One connection writes at a time: SQLite from 3.7.0 can corrupt a WAL file that two connections write or checkpoint together
(the WAL-reset race, https://sqlite.org/wal.html#walresetbug; fixed in 3.51.3). So a lock file is held while a connection that
can write is open or used, which includes every checkpoint: those after a COMMIT and the one when the last such connection is
closed. Everyone else reads through connections that can do neither. No error of SQLite
or of the lock leaves this module as such.
"""

from __future__ import annotations

import errno
import sqlite3
import threading
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from pathlib import Path

from filelock import FileLock, Timeout
from sqlite_utils import Database

from fieldkit import durable
from fieldkit.base.errors import BaseError
from fieldkit.base.tables import make_anew
from fieldkit.errors import FieldkitError
from fieldkit.ledger import StoreError
from fieldkit.ledger.migrations import is_newer
from fieldkit.ledger.migrations import ledger as ledger_migrations

FILE = "fieldkit.db"
_CHECKPOINT_PAGES = 16_000
"""Pages of the log (64 MB) after which what is in it is put in its place, where nobody had it done in quiet (`put_in_place`).
Rows land in pages at random, up to 800 of them for 500 entries, and to put these in their place takes longer than to write the
log: with SQLite's own 1,000 every other hand-in would wait for it. Chosen by us."""

_CACHE_KIB = 4000
"""Of pages, held by the connection that writes: what 500 entries touch in a large ledger. With SQLite's own 2,000 it writes
pages, forgets them and reads them again within one hand-in. Chosen by us."""

_MOST_READERS = 4  # kept open: each holds up to 2 MB of pages. Chosen by us

_LOOK_EVERY = 0.01
"""Seconds between looks at a lock that another holds: four phones hand in at once, and none should wait for nothing."""

_MEANINGS: Mapping[int, tuple[type[FieldkitError], str]] = {
    sqlite3.SQLITE_FULL: (StoreError, "base.disk_full"),
    sqlite3.SQLITE_IOERR: (StoreError, "base.disk_failed"),
    sqlite3.SQLITE_BUSY: (StoreError, "base.busy"),
    sqlite3.SQLITE_LOCKED: (StoreError, "base.busy"),
    sqlite3.SQLITE_READONLY: (BaseError, "base.may_not"),
    sqlite3.SQLITE_CANTOPEN: (BaseError, "base.may_not"),
    sqlite3.SQLITE_PERM: (BaseError, "base.may_not"),
    sqlite3.SQLITE_AUTH: (BaseError, "base.may_not"),
    sqlite3.SQLITE_NOTADB: (StoreError, "base.no_database"),
    sqlite3.SQLITE_CORRUPT: (StoreError, "base.damaged"),
}


def has_wal_reset_race(version: tuple[int, ...]) -> bool:
    """Whether a version of SQLite can corrupt a file that two connections write or checkpoint at once. Here they never do.

    Source: https://sqlite.org/wal.html, "The WAL-reset bug": 3.7.0 to 3.51.2; cured in 3.51.3, and in 3.44.6 and 3.50.7.
    """
    cured = version >= (3, 51, 3) or (3, 50, 7) <= version < (3, 51) or (3, 44, 6) <= version < (3, 45)
    return version >= (3, 7) and not cured


class BaseDatabase:
    """The database of one base. Holds no connection between calls, but where `held` is asked for."""

    def __init__(self, folder: Path, *, patience_seconds: float = 0) -> None:
        """`patience_seconds`: how long to wait for another writer."""
        self._folder = folder
        self._patience_seconds = patience_seconds
        self._path = folder / FILE
        self._mine = threading.local()
        self._held: sqlite3.Connection | None = None
        self._readers: list[sqlite3.Connection] = []
        """Connections that can only read and that nobody uses just now; some while the base is held, else none."""

    @property
    def is_there(self) -> bool:
        try:
            return self._path.is_file()
        except PermissionError as error:
            raise BaseError.of("base.may_not", folder=str(self._folder), why=error.strerror or "") from error

    def make(self, about: Mapping[str, str]) -> None:
        """Make the tables of a new base."""
        with _meaning(self._folder), closing(self._open()) as connection:
            ledger_migrations.apply(Database(connection))
            with connection:
                connection.execute("BEGIN IMMEDIATE")
                make_anew(connection)
                connection.executemany("INSERT INTO base VALUES (?, ?)", sorted(about.items()))

    def about(self) -> dict[str, str]:
        """What the base says of itself, once its ledger is in the form of this version.

        Raises:
            BaseError: this is no database of ours, or a later fieldkit gave it a form that this one does not know.
        """
        with self.reading() as connection:
            tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master")}
            if not {"base", "ledger"} <= tables:
                raise BaseError.of("base.not_ours", file=str(self._path))
            if is_newer(Database(connection)):
                raise BaseError.of("base.newer", folder=str(self._folder))
            is_older = bool(ledger_migrations.pending(Database(connection)))
            about = dict(connection.execute("SELECT name, value FROM base"))
        if is_older:
            with self._locked() as connection:
                self._copy_before_change(connection)
                ledger_migrations.apply(Database(connection))
        return about

    def _copy_before_change(self, connection: sqlite3.Connection) -> None:
        """Keep the database as it is, beside itself, before a new version of fieldkit changes its form."""
        step = ledger_migrations.pending(Database(connection))[0].name
        copy, partial = self._folder / f"{FILE}.before-{step}", self._folder / f".{FILE}.before-{step}.part"
        partial.unlink(missing_ok=True)
        with closing(sqlite3.connect(partial)) as target:
            connection.backup(target)
        with partial.open("rb+") as file:
            durable.force(file)
        partial.replace(copy)
        durable.force_folder(self._folder)

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """A connection that can only read; everything that is read through it is of one moment."""
        with _meaning(self._folder):
            connection = self._reader()
            try:
                connection.execute("BEGIN")
                yield connection
                connection.execute("ROLLBACK")
            except BaseException:  # something may still be reading, and hold on to its moment
                connection.close()
                raise
            if self._held is None or len(self._readers) >= _MOST_READERS:
                connection.close()
            else:
                self._readers.append(connection)

    def _reader(self) -> sqlite3.Connection:
        with suppress(IndexError):  # none is left
            return self._readers.pop()
        address = f"{self._path.absolute().as_uri()}?mode=ro"
        return sqlite3.connect(address, uri=True, timeout=self._patience_seconds, isolation_level=None, check_same_thread=False)

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction: all of it is on the disk when the block ends, or none. Whoever rolls back in it leaves nothing."""
        with self._locked() as connection:
            connection.execute("BEGIN IMMEDIATE")
            try:
                yield connection
                if connection.in_transaction:
                    connection.execute("COMMIT")
            except BaseException:
                if connection.in_transaction:  # after a full disk SQLite has rolled back already
                    connection.execute("ROLLBACK")
                raise

    def put_in_place(self) -> None:
        """Put what the log holds in its place in the database, as far as nobody reads from an older moment: for quiet times."""
        with self._locked() as connection:
            connection.execute("PRAGMA wal_checkpoint(PASSIVE)")

    @contextmanager
    def alone(self) -> Iterator[None]:
        """Nobody else writes while the block lasts, in this process or another. Whoever has it may ask for it again."""
        if getattr(self._mine, "is_alone", False):
            yield
            return
        lock = FileLock(self._folder / "write.lock", timeout=self._patience_seconds, poll_interval=_LOOK_EVERY)
        try:
            acquired = lock.acquire()
        except Timeout as error:
            raise StoreError.of("base.busy", folder=str(self._folder)) from error
        except OSError as error:
            full = error.errno in (errno.ENOSPC, errno.EDQUOT)
            kind, key = (StoreError, "base.disk_full") if full else (BaseError, "base.may_not")
            raise kind.of(key, folder=str(self._folder), why=error.strerror or str(error)) from error
        with acquired:
            self._mine.is_alone = True
            try:
                yield
            finally:
                self._mine.is_alone = False

    @contextmanager
    def held(self) -> Iterator[None]:
        """Keep connections open, to write and to read. Every write is alone all the same, whichever process it is in.

        To open one, and to empty the log when the last is closed, costs more than to write what a phone hands in.
        """
        with self._only_holder(), _meaning(self._folder):
            with self.alone():
                self._held = self._open()
            try:
                yield
            finally:
                with self.alone():
                    held, self._held = self._held, None
                    while self._readers:
                        self._readers.pop().close()
                    held.close()

    @contextmanager
    def _only_holder(self) -> Iterator[None]:
        lock = FileLock(self._folder / "serving.lock", timeout=0)
        try:
            with lock:
                yield
        except Timeout as error:
            raise BaseError.of("base.served_already", folder=str(self._folder)) from error

    @contextmanager
    def _locked(self) -> Iterator[sqlite3.Connection]:
        with _meaning(self._folder), self.alone():
            if self._held is not None:
                yield self._held
            else:
                with closing(self._open()) as connection:
                    yield connection

    def _open(self) -> sqlite3.Connection:
        """The writing connection: durable before COMMIT returns."""
        # `alone` sees to it that threads do not use it at once.
        connection = sqlite3.connect(self._path, timeout=self._patience_seconds, isolation_level=None, check_same_thread=False)
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA fullfsync = ON")
            connection.execute(f"PRAGMA wal_autocheckpoint = {_CHECKPOINT_PAGES}")
            connection.execute(f"PRAGMA cache_size = -{_CACHE_KIB}")
        except BaseException:
            connection.close()
            raise
        return connection


@contextmanager
def _meaning(folder: Path) -> Iterator[None]:
    """Errors of SQLite, raised again as what they mean to the person who runs the base."""
    try:
        yield
    except sqlite3.Error as error:
        code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF
        kind, key = _MEANINGS.get(code, (StoreError, "base.database_failed"))
        raise kind.of(key, folder=str(folder), file=str(folder / FILE), why=str(error)) from error
