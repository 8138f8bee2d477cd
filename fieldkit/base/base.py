"""A base: one programme's data in one folder, and the only two ways to write to it.

    DIR/fieldkit.db     the ledger, and the state that follows from it
    DIR/photos/         photos by the digest of their bytes
    DIR/small/          small copies of them, made when they are looked at
    DIR/protocols/      protocol files, likewise

`receive` takes in entries from outside, `say` what a person enters or decides here. Both append, and bring the state up to date
in the same transaction. `keep` appends alone: a phone waits for no more than that its entries are on the disk, and no fault in
what follows from them can keep a day from being handed in. Whoever looks at the state next brings it up to date.
"""

from __future__ import annotations

import math
import sqlite3
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from datetime import date
from io import BytesIO
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp
from typing import Any, Self

from fieldkit.base.database import BaseDatabase
from fieldkit.base.errors import BaseError
from fieldkit.base.ground import is_over_the_network, synced_by
from fieldkit.base.keeping import Keeper
from fieldkit.base.state import State
from fieldkit.base.tables import FOLD, make_anew
from fieldkit.base.view import View
from fieldkit.errors import Fault
from fieldkit.ledger import CarryError, Entry, StoreError, is_digest, mint, new_id, sha256
from fieldkit.ledger.carry import About, CarryCount, read_carry, write_carry
from fieldkit.ledger.fold import LEAD
from fieldkit.ledger.store import Appended, Ledger
from fieldkit.photos import Looks, PhotoError, PhotoStore, SmallCopies
from fieldkit.photos.store import Readable
from fieldkit.protocol import Protocol, ProtocolError, read_protocol

BUSY_SECONDS = 30
"""How long to wait for another writer: longer than the first carry file of a programme takes. Chosen by us."""


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
        self.folder = folder
        self.photos = PhotoStore(folder / "photos")
        self.small = SmallCopies(folder / "small", self.photos)
        self.looks = Looks(folder / "small", self.photos)
        self.protocols = PhotoStore(folder / "protocols")
        self._protocols: dict[str, Protocol] = {}
        self.asked_to_keep_at = -math.inf
        """When somebody last handed in to this object, on the clock of `time.monotonic`: what can wait lets them pass."""
        self._database = BaseDatabase(folder, patience_seconds=BUSY_SECONDS)
        if not self._database.is_there:
            raise BaseError.of("base.no_base", folder=str(folder))
        if is_over_the_network(folder):
            raise BaseError.of("base.over_the_network", folder=str(folder))
        about = self._database.about()
        self.id: str = about["base"]
        self.programme: str = about["programme"]
        self.programme_name: str = about["programme_name"]
        self._catch_up(about)

    @classmethod
    def create(cls, folder: Path, programme_name: str, programme: str | None = None) -> Self:
        """Make the folder of a new base. It appears whole or not at all.

        Args:
            programme: the id of a programme that other bases have already; absent: a new programme.

        Raises:
            BaseError: the folder is there and not empty, or none can be made there.
        """
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise BaseError.of("base.folder_taken", folder=str(folder))
        folder.parent.mkdir(parents=True, exist_ok=True)
        if is_over_the_network(folder.parent):
            raise BaseError.of("base.over_the_network", folder=str(folder))
        made = Path(mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
        try:
            about = {"base": new_id(_now()), "programme": programme or new_id(_now()), "programme_name": programme_name}
            BaseDatabase(made).make(about)
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
        """Take in entries from outside; durable, and the state up to date, when this returns.

        Raises:
            StoreError: they could not be written: the disk is full or broken, or another process does not stop writing. Then
                none of them is there.
        """
        with self._writing() as ledger:
            return ledger.append(entries, source=source, received_at=_now())

    def keep(self, entries: Iterable[Entry], *, source: str, clock_off_ms: int | None = None) -> Appended:
        """Take in entries from outside; durable when this returns. The state follows when somebody looks, or by `settle`.

        Args:
            clock_off_ms: by how much the clock of who hands in is ahead of ours.

        Raises:
            StoreError: as `receive`.
        """
        self.asked_to_keep_at = time.monotonic()
        with self._database.writing() as connection:
            ledger, state = Ledger(connection), State(connection)
            appended = ledger.append(entries, source=source, received_at=_now(), clock_off_ms=clock_off_ms)
            redacted = state.redacted()
            is_urgent = any(entry.kind == "redact" or entry.digest in redacted for entry in appended.new)
        if is_urgent:  # bytes that must go are not handed on first
            self.settle()
        return appended

    def settle(self) -> None:
        """Bring the state up to date with what was kept."""
        with self._writing():
            pass

    def tidy(self) -> None:
        """Do now, in quiet, what would else make somebody wait who hands in.

        Raises:
            StoreError: the disk is full or fails.
        """
        self._database.put_in_place()

    def is_settled(self) -> bool:
        """Whether the state reckons with everything that is here."""
        with self._database.reading() as connection:
            return not _is_behind(connection)

    @contextmanager
    def held_open(self) -> Iterator[None]:
        """While the block lasts, nobody else holds the base open so, and writes are quicker: for who serves it.

        Commands may read and write beside it all the same: every write is alone.

        Raises:
            BaseError: another process holds it open.
        """
        with self._database.held():
            yield

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
            content = 0
            for folder, digest, reader in opened.content():
                try:
                    content += self.protocols.put(reader, digest) if folder == "protocols" else self.keep_photo(reader, digest)
                except CarryError:
                    continue  # bytes that are not the promised ones: already among the faults of the file
                except PhotoError as error:
                    opened.faults.extend(error.faults)
            opened.prove()
            appended = self.receive(entries, source=opened.about.source)
            new, known = arrivals(entries, appended.new)
            return Merged(str(carry), len(appended.new), appended.known, new, known, content, tuple(opened.faults))

    def say(
        self, statements: Iterable[Statement], *, recorder: str | None = None, about: Mapping[str, Any] | None = None
    ) -> list[Entry]:
        """Write down what a lead enters or decides here: a session of the base's own, with these statements in it.

        Args:
            recorder: who says it; initials are enough.
            about: what the session says of itself besides: the day, site and protocol of a planting, say.
        """
        at = _now()
        session = new_id(at)
        opening = Statement("session", {**(about or {}), "role": LEAD} | ({"recorder": recorder} if recorder else {}))
        entries = [
            mint(said.kind, device=self.id, session=session, seq=seq, at=at, values=said.values, replaces=said.replaces)
            for seq, said in enumerate([opening, *statements], 1)
        ]
        self.receive(entries, source=self.id)
        return entries

    def keep_photo(self, stream: Readable, digest: str) -> bool:
        """Put the bytes of a photo into its store, unless it was redacted. Returns whether it is new."""
        with self.glance() as view:
            is_redacted = digest in view.redacted()
        return not is_redacted and self.photos.put(stream, digest)

    def keep_protocol(self, body: bytes) -> None:
        """Put the bytes of a protocol file into its store; what was noted under it is understood from now on."""
        if self.protocols.put(BytesIO(body), sha256(body)):
            self.receive((), source=self.id)

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
        """The state as it stands now, to be read while the block lasts; brought up to date first where it was behind.

        Where the disk is too full for that, it is given as it was: what is here already can still be read.
        """
        with ExitStack() as opened:
            connection = opened.enter_context(self._database.reading())
            if _is_behind(connection):
                with self._database.alone(), suppress(StoreError):
                    self.settle()
                    connection = opened.enter_context(self._database.reading())
                    _is_behind(connection)  # what is read first decides which moment is read
            yield View(connection)

    @contextmanager
    def glance(self) -> Iterator[View]:
        """What is on the disk now, whether or not the state reckons with it yet: for who asks the ledger alone, and at once."""
        with self._database.reading() as connection:
            yield View(connection)

    def carry(self, path: Path, *, since: date | None = None) -> CarryCount:
        """Write a carry file of everything, or of the sessions of which something was handed in on that day or later."""
        with self.view() as view:
            ledger, redacted = view.ledger, view.redacted()
            entries = ledger.all() if since is None else iter(ledger.of_sessions(ledger.sessions_received_since(since)))
            content = [*_content("protocols", self.protocols), *_content("photos", self.photos)]
            if since is not None:
                kept = list(entries)
                named = {entry.values.get(name) for entry in kept for name in ("photo", "digest", "protocol")}
                entries, content = iter(kept), [one for one in content if one[1] in named]
            content = [one for one in content if one[1] not in redacted]
            return write_carry(path, About(self.programme, self.programme_name, self.id), entries, content)

    def check(self) -> list[Fault]:
        """Prove everything that can be proved: bytes, digests, the database itself, and the state against one from nothing.

        Changes nothing. Returns what is wrong.
        """
        ground = synced_by(self.folder)
        remarks = [Fault("base.synced", {"folder": str(self.folder), "name": ground})] if ground else []
        return [*remarks, *self.photos.check(), *self.protocols.check(), *self.check_ledger()]

    def check_ledger(self) -> list[Fault]:
        """The same without reading the photos again."""
        faults: list[Fault] = []
        with self._database.writing() as connection:
            ledger, state = Ledger(connection), State(connection)
            problems = [why for (why,) in connection.execute("PRAGMA integrity_check") if why != "ok"]
            faults += [Fault("base.integrity", {"why": why}) for why in problems]
            rotten = [Fault("base.rotten_entry", {"digest": digest}) for digest in ledger.rotten()]
            if not rotten and self._differs(ledger, state):  # nothing follows from bytes that cannot be read
                faults.append(Fault("base.state_differs"))
            connection.execute("ROLLBACK")
        return faults + rotten

    def rebuild(self) -> None:
        """Throw away everything that follows from the ledger, and compute it anew."""
        with self._database.writing() as connection:
            make_anew(connection)
            ledger, state = Ledger(connection), State(connection)
            ledger.sum_up()
            Keeper(ledger, state, self.protocol).from_nothing()
            state.put_folded(ledger.newest_place)

    def _differs(self, ledger: Ledger, state: State) -> bool:
        Keeper(ledger, state, self.protocol).take_in(ledger.after(state.folded()))
        kept = state.digest()
        Keeper(ledger, state, self.protocol).from_nothing()
        return state.digest() != kept

    @contextmanager
    def _writing(self) -> Iterator[Ledger]:
        """One transaction; the state is up to date when the block ends, and what is redacted in it off the disk."""
        with self._database.writing() as connection:
            ledger, state = Ledger(connection), State(connection)
            keeper = Keeper(ledger, state, self.protocol)
            here = frozenset(self.protocols.digests())
            yield ledger
            keeper.take_in(ledger.after(state.folded()), here - state.protocols())
            state.put_folded(ledger.newest_place)
            state.put_protocols(here)
            if keeper.redacted:
                connection.execute("COMMIT")
                connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")  # the log still holds the bytes that went
        self._remove_photos(keeper.redacted)

    def _catch_up(self, about: Mapping[str, str]) -> None:
        """Do what another version did not know of, and what a process that was killed left undone.

        A file and the state that speaks of it cannot be written at one stroke: a protocol comes before, a redacted photo
        goes after.
        """
        if about.get("fold") != FOLD:
            with self._database.writing() as connection:
                make_anew(connection)
                ledger, state = Ledger(connection), State(connection)
                Keeper(ledger, state, self.protocol).from_nothing()
                state.put_folded(ledger.newest_place)
        with self.view() as view:
            redacted, unheard_of = view.redacted(), set(self.protocols.digests()) - view.protocols_heard_of()
        self._remove_photos(redacted)
        if unheard_of:
            self.receive((), source=self.id)

    def _remove_photos(self, redacted: Iterable[str]) -> None:
        for digest in redacted:
            self.photos.path(digest).unlink(missing_ok=True)
            self.small.drop(digest)
            self.looks.drop(digest)

    def protocol(self, digest: str) -> Protocol | None:
        """The protocol file of that digest; None while it is not here, or where it is faulty."""
        if digest not in self._protocols and is_digest(digest) and self.protocols.has(digest):
            with self.protocols.open(digest) as file, suppress(ProtocolError):  # what was noted under a faulty one says so
                self._protocols[digest] = read_protocol(file.read(), name=digest)
        return self._protocols.get(digest)


def arrivals(given: Iterable[Entry], new: Iterable[Entry]) -> tuple[Counter[str], Counter[str]]:
    """How many of the entries that were given are new and how many were known, by session."""
    fresh = Counter(entry.session for entry in new)
    return fresh, Counter(entry.session for entry in set(given)) - fresh


def _is_behind(connection: sqlite3.Connection) -> bool:
    return State(connection).folded() < Ledger(connection).newest_place


def _content(folder: str, store: PhotoStore) -> list[tuple[str, str, Path | bytes]]:
    return [(folder, digest, store.path(digest)) for digest in sorted(store.digests())]


def _now() -> int:
    return time.time_ns() // 1_000_000
