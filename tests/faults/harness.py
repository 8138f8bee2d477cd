"""Phones that hand in to a real server, in a process of its own and over TLS, while something goes wrong; and what must hold.

One `Trial` is one base through several rounds. A round: a phone seals a session with photos and hands in; at a random byte the
server is killed, the connection cut, the disk full or failing; then the server is started anew on what lies on the disk.
Whatever was acknowledged must be there, and a hand-in without faults must bring the rest. `scripts/bench/faults.py` does many.
"""

from __future__ import annotations

import os
import resource
import signal
import sqlite3
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import BinaryIO

from fieldkit.access import Access
from fieldkit.base import Base
from fieldkit.errors import FieldkitError
from fieldkit.exchange import meet
from fieldkit.exchange.errors import ExchangeError
from fieldkit.exchange.wire import Answer, Https
from fieldkit.ledger import derived_id, sha256
from fieldkit.server.app import create_app
from fieldkit.server.authority import Authority
from fieldkit.server.listening import Listening
from fieldkit.server.tended import tended
from fieldkit.server.tls import Vouching
from tests.base.process import Process
from tests.base.world import digest
from tests.exchange.devices import Phone, held
from tests.faults.proxy import Proxy
from tests.support.programme import Reef, base_of

FAULTS = ("kill", "kill after a moment", "cut up", "cut down", "full", "short file", "failing write", "none")
_MOST_UP, _MOST_DOWN = 400_000, 30_000


@dataclass
class Tally:
    """What was tried, and how often."""

    runs: int = 0
    acknowledged: int = 0
    photos: int = 0
    lost: int = 0
    differing: int = 0
    faults: dict[str, int] = field(default_factory=dict)
    broke_off: int = 0


class Server:
    """A base served over TLS by a process of its own, which may be hindered."""

    def __init__(self, base: Base, hinder: Callable[[Base], None] = lambda _: None) -> None:
        self.process = Process(lambda pipe: _serve(base.folder, pipe, hinder))
        self.port = int(self.process.first_line())
        self.is_killed = False

    def kill(self) -> None:
        if not self.is_killed:
            self.is_killed = True
            os.kill(self.process.id, signal.SIGKILL)

    def close(self) -> None:
        self.kill()
        self.process.ended()


def _serve(folder: Path, pipe: BinaryIO, hinder: Callable[[Base], None]) -> None:
    base, access = Base(folder), Access(folder)
    with tended(base, settled=lambda: None), access.held_open():
        hinder(base)
        vouching = Vouching(Authority.of(folder, base.programme_name), lambda: ("fieldkit.local",))
        listening = Listening("127.0.0.1", 0, create_app(base, access), vouching)
        listening.begin()
        pipe.write(b"%d\n" % listening.port)
        signal.pause()


class Witness:
    """The way to a server, and everything that it acknowledged."""

    def __init__(self, wire: Https, phone: Phone) -> None:
        self._wire = wire
        self._phone = phone
        self.entries: set[str] = set()
        self.photos: set[str] = set()
        self.offsets: dict[str, int] = {}

    def ask(self, method: str, path: str, *, body: bytes = b"", headers: Mapping[str, str] | None = None) -> Answer:
        answer = self._wire.ask(method, path, body=body, headers=headers)
        if path == "entries" and answer.is_good:
            said = answer.json()
            assert said["refused"] == []
            self.entries |= {line[:64].decode() for line in body.splitlines()}
        if path.startswith("photos/") and answer.is_good and "upload-offset" in answer.headers:
            name = path.removeprefix("photos/")
            self.offsets[name] = int(answer.headers["upload-offset"])
            if answer.headers.get("upload-complete") == "?1":
                self.photos.add(name)
        return answer


class Trial:
    """One base, one phone, and as many rounds as are asked for."""

    def __init__(self, folder: Path, dice: Random) -> None:
        self.folder = folder
        self.dice = dice
        self.reef = Reef()
        self.base = base_of(folder / "base", self.reef.entries(), [self.reef.protocol])
        authority = Authority.of(self.base.folder, "Test")
        self.authority = authority.as_pem.decode("ascii")
        access = Access(self.base.folder)
        device, self.token = access.devices.pair(access.devices.invite("crew"), "a phone", "")
        _, self.base_token = access.devices.pair(access.devices.invite("base"), "another base", "")
        self.phone = Phone(device.id)
        self.acknowledged: set[str] = set()
        self.photos: set[str] = set()

    def round(self, tally: Tally, fault: str | None = None) -> None:
        """Seal, hand in while something goes wrong, start anew, and see whether all is there."""
        fault = fault or self.dice.choice(FAULTS)
        self._seal()
        offsets = self._hand_in_with(fault, tally)
        tally.runs += 1
        tally.faults[fault] = tally.faults.get(fault, 0) + 1
        self._must_be_there(tally, offsets)
        self._hand_in_whole()
        self._must_be_there(tally, {})
        tally.lost += len(self.phone.entries.keys() - held(self.base))
        tally.acknowledged, tally.photos = tally.acknowledged + len(self.acknowledged), tally.photos + len(self.photos)

    def end(self, tally: Tally) -> None:
        """Prove the base, and let it meet another one over TLS: then both must be the same, byte for byte."""
        assert self.base.check() == []
        other = base_of(self.folder / "other")
        server = Server(self.base)
        wire = Https(f"https://127.0.0.1:{server.port}", authority=self.authority, token=self.base_token)
        try:
            meet(other, wire, address="there")
        finally:
            wire.close()
            server.close()
        same = held(other) == held(self.base) and digest(other) == digest(self.base)
        tally.differing += not (same and set(other.photos.digests()) == set(self.base.photos.digests()))

    def _seal(self) -> None:
        dice = self.dice
        self.phone.open_session(
            site=self.reef.site, day=f"2024-06-{dice.randint(1, 28):02}", protocol=self.reef.protocol.digest
        )
        for i in range(dice.choice((1, 10, 100, 600))):
            row = {
                "row": derived_id(self.phone.session, str(i)),
                "plot": self.reef.plot("A"),
                "tag": dice.choice(("101", "102", "103")),
            }
            self.phone.say("observation", {**row, "status": dice.choice(("alive", "dead"))})
        for _ in range(dice.randint(0, 2)):
            self.phone.photograph(b"\xff\xd8\xff" + dice.randbytes(dice.choice((10, 60_000, 1_300_000))))

    def _hand_in_with(self, fault: str, tally: Tally) -> dict[str, int]:
        """Returns how far each photo had come by what was answered."""
        server = Server(self.base, self._hindrance(fault))
        at = int(self.dice.triangular(0, _MOST_UP, 20_000))
        proxy = {
            "kill": lambda: Proxy(server.port, up=at, then=server.kill),
            "kill after a moment": lambda: Proxy(
                server.port, up=at, then=lambda: _later(server.kill, self.dice.uniform(0, 0.05))
            ),
            "cut up": lambda: Proxy(server.port, up=at),
            "cut down": lambda: Proxy(server.port, down=self.dice.randrange(_MOST_DOWN)),
        }.get(fault, lambda: Proxy(server.port))()
        wire = Https(f"https://127.0.0.1:{proxy.port}", authority=self.authority, token=self.token)
        witness = Witness(wire, self.phone)
        try:
            self.phone.hand_in(witness)
        except ExchangeError:
            tally.broke_off += 1
        finally:
            wire.close()
            proxy.close()
            server.close()
        self.acknowledged |= witness.entries
        self.photos |= witness.photos
        return witness.offsets

    def _hindrance(self, fault: str) -> Callable[[Base], None]:
        dice = Random(self.dice.random())
        size = (self.base.folder / "fieldkit.db").stat().st_size

        def hinder(base: Base) -> None:
            if fault == "full":
                _limit_pages(base, dice.randrange(40))
            elif fault == "short file":
                most = dice.randrange(1, size)
                resource.setrlimit(resource.RLIMIT_FSIZE, (most, resource.RLIM_INFINITY))
            elif fault == "failing write":
                failing_writes(base, lambda: dice.random() >= 0.5)

        return hinder

    def _hand_in_whole(self) -> None:
        server = Server(self.base)
        wire = Https(f"https://127.0.0.1:{server.port}", authority=self.authority, token=self.token)
        witness = Witness(wire, self.phone)
        try:
            done = self.phone.hand_in(witness)
            assert (done.refused, done.forked, done.faults) == ([], set(), [])
        finally:
            wire.close()
            server.close()
        self.acknowledged |= witness.entries
        self.photos |= witness.photos

    def _must_be_there(self, tally: Tally, offsets: Mapping[str, int]) -> None:
        base = Base(self.base.folder)
        tally.lost += len(self.acknowledged - held(base))
        for name in self.photos:
            path = base.photos.path(name)
            tally.lost += not (path.is_file() and sha256(path.read_bytes()) == name)
        for name, offset in offsets.items():
            partial = base.folder / "incoming" / f"{self.phone.device}-{name}"
            tally.lost += not (base.photos.has(name) or (partial.is_file() and partial.stat().st_size >= offset))


def _later(work: Callable[[], None], seconds: float) -> None:
    time.sleep(seconds)
    work()


def _limit_pages(base: Base, more: int) -> None:
    """Let the database grow by so many pages and no more: SQLite calls that a full disk."""
    connection = _writing_connection(base)
    (there,) = connection.execute("PRAGMA page_count").fetchone()
    connection.execute(f"PRAGMA max_page_count = {there + more}")


def failing_writes(base: Base, fails: Callable[[], bool]) -> None:
    """Let some COMMITs fail: what they write goes to a file that may not grow just then."""
    connection = _writing_connection(base)

    class Failing:
        in_transaction = property(lambda _: connection.in_transaction)

        def __getattr__(self, name: str) -> object:
            return getattr(connection, name)

        def execute(self, sql: str, *given: object) -> sqlite3.Cursor:
            if sql != "COMMIT" or not fails():
                return connection.execute(sql, *given)  # type: ignore[arg-type]
            soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
            resource.setrlimit(resource.RLIMIT_FSIZE, (4096, hard))
            try:
                return connection.execute(sql)
            finally:
                resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))

    base._database._held = Failing()  # type: ignore[assignment]


def _writing_connection(base: Base) -> sqlite3.Connection:
    assert base._database._held
    return base._database._held


def torn(folder: Path, dice: Random, tally: Tally) -> None:
    """A carry file that was cut or damaged: what proves itself is taken, the rest named, and the whole one brings the rest."""
    reef = Reef()
    dive = reef.dive("EA", "2024-06-01")
    for _ in range(dice.randint(1, 40)):
        reef.see(dive, dice.choice(("101", "102")))
    base = base_of(folder / "carrying", reef.entries(), [reef.protocol])
    base.carry(folder / "whole.zip")
    body = bytearray((folder / "whole.zip").read_bytes())
    if dice.random() < 0.5:
        del body[dice.randrange(len(body)) :]
    else:
        body[dice.randrange(len(body))] ^= 1 << dice.randrange(8)
    (folder / "torn.zip").write_bytes(body)
    other = base_of(folder / "taking")
    with suppress(FieldkitError):
        merged = other.merge(folder / "torn.zip")
        tally.lost += not merged.faults and held(other) != held(base)
    tally.lost += not held(other) <= held(base)
    other.merge(folder / "whole.zip")
    tally.differing += not (held(other) == held(base) and digest(other) == digest(base) and other.check() == [])
    tally.runs += 1
    tally.faults["torn carry file"] = tally.faults.get("torn carry file", 0) + 1
