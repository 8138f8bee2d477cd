"""A base: one programme's data in one folder, and the only two ways to write to it.

    DIR/fieldkit.db     the ledger, and the state that follows from it
    DIR/photos/         photos by the digest of their bytes
    DIR/protocols/      protocol files, likewise

`receive` takes in entries from outside, `say` what a person enters or decides here. Both append, and bring the state up to date
in the same transaction. One process writes at a time: SQLite before 3.51.3 can corrupt a WAL file that two connections write or
checkpoint together, so a lock file is held around every write, and everyone else reads through connections that cannot write.
"""

from __future__ import annotations

import sqlite3
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import date
from io import BytesIO
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp
from typing import Any, Self

from filelock import FileLock
from sqlite_utils import Database

from fieldkit.base.errors import BaseError
from fieldkit.base.keeping import Keeper
from fieldkit.base.migrations import state as state_migrations
from fieldkit.base.state import State
from fieldkit.base.view import View
from fieldkit.errors import Fault
from fieldkit.ledger import CarryError, Entry, is_digest, mint, new_id, sha256
from fieldkit.ledger.carry import About, CarryCount, read_carry, write_carry
from fieldkit.ledger.fold import LEAD
from fieldkit.ledger.migrations import ledger as ledger_migrations
from fieldkit.ledger.store import Appended, Ledger
from fieldkit.photos import PhotoError, PhotoStore
from fieldkit.protocol import Protocol, ProtocolError, read_protocol

DATABASE = "fieldkit.db"
BUSY_SECONDS = 30


@dataclass(frozen=True)
class Merged:
    """What a carry file or another base brought: entries and content, by how many were new; and what could not be proved."""

    file: str
    new: int
    known: int
    sessions: Mapping[str, int]
    """New entries by session."""
    sessions_known: Mapping[str, int]
    """Entries that were here before, by session."""
    content: int
    """New photos and protocols."""
    faults: tuple[Fault, ...]


@dataclass(frozen=True)
class Statement:
    """Something to be said at the base: a kind, what is said, and the digests that it replaces."""

    kind: str
    values: Mapping[str, Any]
    replaces: tuple[str, ...] = ()


class Base:
    """An open base. Cheap to open; holds no connection between calls."""

    def __init__(self, folder: Path) -> None:
        """Open the base in a folder.

        Raises:
            BaseError: there is none, or it was written by a later version.
        """
        if not (folder / DATABASE).is_file():
            raise BaseError.of("base.no_base", folder=str(folder))
        self.folder = folder
        self.photos = PhotoStore(folder / "photos")
        self.protocols = PhotoStore(folder / "protocols")
        self._protocols: dict[str, Protocol] = {}
        with self._connected() as connection:
            about = dict(connection.execute("SELECT name, value FROM base"))
        self.id: str = about["base"]
        self.programme: str = about["programme"]
        self.programme_name: str = about["programme_name"]

    @classmethod
    def create(cls, folder: Path, programme_name: str, programme: str | None = None) -> Self:
        """Make the folder of a new base. It appears whole or not at all.

        Args:
            programme: the id of a programme that other bases have already; absent: a new programme.

        Raises:
            BaseError: the folder is there and not empty.
        """
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise BaseError.of("base.folder_taken", folder=str(folder))
        folder.parent.mkdir(parents=True, exist_ok=True)
        made = Path(mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
        try:
            about = {"base": new_id(_now()), "programme": programme or new_id(_now()), "programme_name": programme_name}
            with closing(_open(made / DATABASE)) as connection, connection:
                connection.executemany("INSERT INTO base VALUES (?, ?)", sorted(about.items()))
            if folder.exists():
                folder.rmdir()
            made.chmod(0o755)
            made.rename(folder)
        except BaseException:
            rmtree(made, ignore_errors=True)
            raise
        return cls(folder)

    @classmethod
    def join(cls, folder: Path, carry: Path) -> tuple[Self, Merged]:
        """Make a base of the programme that a carry file belongs to, and take the file in."""
        with read_carry(carry) as opened:
            about = opened.about
        base = cls.create(folder, about.programme_name, about.programme)
        return base, base.merge(carry)

    # writing

    def receive(self, entries: Iterable[Entry], *, source: str) -> Appended:
        """Take in entries from outside; durable, and the state up to date, when this returns."""
        with self._writing() as (ledger, keeper):
            appended = ledger.append(entries, source=source, received_at=_now())
            keeper.take_in(appended.new)
        return appended

    def merge(self, carry: Path) -> Merged:
        """Take in a carry file: all of it that proves itself.

        Raises:
            CarryError: no carry file, or another programme's; then nothing was written.
        """
        with read_carry(carry) as opened:
            if opened.about.programme != self.programme:
                raise BaseError.of(
                    "base.other_programme",
                    file=str(carry),
                    theirs=opened.about.programme_name,
                    ours=self.programme_name,
                )
            entries = list(opened.entries())
            taken = Counter[str]()
            protocols = set()
            for folder, digest, reader in opened.content():
                try:
                    if (self.protocols if folder == "protocols" else self.photos).put(reader, digest):
                        taken[folder] += 1
                        protocols |= {digest} if folder == "protocols" else set()
                except CarryError:
                    continue  # bytes that are not the promised ones: already among the faults of the file
                except PhotoError as error:
                    opened.faults.extend(error.faults)
            opened.prove()
            with self._writing() as (ledger, keeper):
                appended = ledger.append(entries, source=opened.about.source, received_at=_now())
                for digest in sorted(protocols):
                    keeper.protocol_arrived(digest)
                keeper.take_in(appended.new)
            new, known = arrivals(entries, appended.new)
            return Merged(str(carry), len(appended.new), appended.known, new, known, taken.total(), tuple(opened.faults))

    def say(self, statements: Iterable[Statement], *, recorder: str | None = None) -> list[Entry]:
        """Write down what a lead enters or decides here: a session of the base's own, with these statements in it.

        Args:
            recorder: who says it; initials are enough.
        """
        at = _now()
        session = new_id(at)
        opening = Statement("session", {"role": LEAD} | ({"recorder": recorder} if recorder else {}))
        entries = [
            mint(said.kind, device=self.id, session=session, seq=seq, at=at, values=said.values, replaces=said.replaces)
            for seq, said in enumerate([opening, *statements], 1)
        ]
        self.receive(entries, source=self.id)
        return entries

    def keep_protocol(self, body: bytes) -> None:
        """Put the bytes of a protocol file into its store; what was noted under it is understood from now on."""
        digest = sha256(body)
        if self.protocols.put(BytesIO(body), digest):
            with self._writing() as (_, keeper):
                keeper.protocol_arrived(digest)

    def adopt(self, protocol: Protocol) -> None:
        """Make a protocol one of the programme's. Adopting it again changes nothing."""
        with self.view() as view:
            if any(said.get("digest") == protocol.digest for said in view.things("protocol").values()):
                return
        self.keep_protocol(protocol.body)
        values = {"name": protocol.name, "version": str(protocol.version), "digest": protocol.digest}
        self.say([Statement("protocol", {"protocol": new_id(_now()), **values})])

    # reading

    @contextmanager
    def view(self) -> Iterator[View]:
        """The state as it stands now, to be read while the block lasts."""
        with self._connected() as connection:
            yield View(connection)

    def carry(self, path: Path, *, since: date | None = None) -> CarryCount:
        """Write a carry file of everything, or of the sessions of which something was handed in on that day or later."""
        with self._connected() as connection:
            ledger = Ledger(connection)
            entries = ledger.all() if since is None else iter(ledger.of_sessions(ledger.sessions_received_since(since)))
            content = [*_content("protocols", self.protocols), *_content("photos", self.photos)]
            if since is not None:
                kept = list(entries)
                named = {entry.values.get(name) for entry in kept for name in ("photo", "digest", "protocol")}
                entries, content = iter(kept), [one for one in content if one[1] in named]
            return write_carry(path, About(self.programme, self.programme_name, self.id), entries, content)

    def check(self) -> list[Fault]:
        """Prove everything that can be proved: bytes, digests, the database itself, and the state against one from nothing.

        Changes nothing. Returns what is wrong.
        """
        faults = [*self.photos.check(), *self.protocols.check()]
        with FileLock(self.folder / "write.lock", timeout=BUSY_SECONDS), closing(_open(self.folder / DATABASE)) as connection:
            faults += [
                Fault("base.integrity", {"why": row[0]})
                for row in connection.execute("PRAGMA integrity_check")
                if row[0] != "ok"
            ]
            connection.execute("BEGIN IMMEDIATE")
            ledger, state = Ledger(connection), State(connection)
            faults += [Fault("base.rotten_entry", {"digest": digest}) for digest in ledger.rotten()]
            kept = state.digest()
            Keeper(ledger, state, self.protocol).from_nothing()
            if state.digest() != kept:
                faults.append(Fault("base.state_differs"))
            connection.execute("ROLLBACK")
        return faults

    @contextmanager
    def _writing(self) -> Iterator[tuple[Ledger, Keeper]]:
        """One transaction on the one writing connection; all of it is on the disk when the block ends, or none."""
        with FileLock(self.folder / "write.lock", timeout=BUSY_SECONDS), closing(_open(self.folder / DATABASE)) as connection:
            connection.execute("BEGIN IMMEDIATE")
            try:
                ledger = Ledger(connection)
                yield ledger, Keeper(ledger, State(connection), self.protocol)
            except BaseException:
                if connection.in_transaction:  # after a full disk SQLite has rolled back already
                    connection.execute("ROLLBACK")
                raise
            connection.execute("COMMIT")

    @contextmanager
    def _connected(self) -> Iterator[sqlite3.Connection]:
        """A connection that can only read."""
        path = (self.folder / DATABASE).absolute().as_uri()
        with closing(sqlite3.connect(f"{path}?mode=ro", uri=True, timeout=BUSY_SECONDS, isolation_level=None)) as connection:
            connection.execute("BEGIN")  # one state for everything that is read through it
            yield connection

    def protocol(self, digest: str) -> Protocol | None:
        """The protocol file of that digest; None while it is not here, or where it is faulty."""
        if digest not in self._protocols and is_digest(digest) and self.protocols.has(digest):
            with self.protocols.open(digest) as file, suppress(ProtocolError):  # what was noted under a faulty one says so
                self._protocols[digest] = read_protocol(file.read(), name=digest)
        return self._protocols.get(digest)


def _open(path: Path) -> sqlite3.Connection:
    """The writing connection: durable before COMMIT returns."""
    connection = sqlite3.connect(path, timeout=BUSY_SECONDS, isolation_level=None)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA fullfsync = ON")
    database = Database(connection)
    ledger_migrations.apply(database)
    state_migrations.apply(database)
    return connection


def arrivals(given: Iterable[Entry], new: Iterable[Entry]) -> tuple[Counter[str], Counter[str]]:
    """How many of the entries that were given are new and how many were known, by session."""
    fresh = Counter(entry.session for entry in new)
    return fresh, Counter(entry.session for entry in set(given)) - fresh


def _content(folder: str, store: PhotoStore) -> list[tuple[str, str, Path | bytes]]:
    return [(folder, digest, store.path(digest)) for digest in sorted(store.digests())]


def _now() -> int:
    return time.time_ns() // 1_000_000
