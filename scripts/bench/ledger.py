"""How fast a base takes in what was noted, beside what the disk, SQLite and a socket alone would allow.

    python scripts/bench/ledger.py [--million] [--folder DIR]

An invented programme: six sites, plots of 25 corals, each plot followed through eight rounds, one session a plot and round.
Prints seconds of wall time and of processor, and ratios of figures of this run, for

- entries over TLS from one connection, 500 a request, each on the disk before its answer, by a server in a process of its own;
  floor: the same rows written by sqlite3's `executemany` in batches of 500, each on the disk before the next (WAL, FULL)
- photos of 5 MB in pieces of 1 MiB over TLS, over one connection, over two (as each device sends them) and over ten, by turns
  with two floors over as many sockets: from a socket to a file, with SHA-256 and one fsync a photo, a thread a socket; and the
  same through sockets that speak TLS
- the memory of the process that serves: at start, after the photos, at most, and for the largest photo there may be
- one request of 500 entries on a ledger of 10,000, of 100,000 and (with --million) of 1,000,000 entries
- `Base.receive` (the state is up to date after each 500), `Base.merge` of a carry file, the state from nothing per million

Run it on a quiet machine; figures of one run compare with each other, not with those of another machine.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import signal
import socket
import sqlite3
import ssl
import subprocess
import sys
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager
from dataclasses import replace
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from shutil import rmtree
from statistics import median
from tempfile import mkdtemp
from time import perf_counter, process_time
from typing import Any, NoReturn

sys.path.insert(0, str(Path(__file__).parents[2]))

from fieldkit.access import Access
from fieldkit.base import Base
from fieldkit.base.keeping import Keeper
from fieldkit.base.state import State
from fieldkit.exchange.exchange import MOST_PHOTO_BYTES, PIECE
from fieldkit.exchange.wire import Https
from fieldkit.ledger import Entry, derived_id, mint, sha256
from fieldkit.ledger.store import Ledger
from fieldkit.protocol import read_protocol
from fieldkit.server.app import create_app
from fieldkit.server.authority import Authority
from fieldkit.server.listening import Listening
from fieldkit.server.tended import quick_turns
from fieldkit.server.tls import Vouching
from fieldkit.shipped import SAMPLE_SURVEYS

Prepare = Callable[[], Callable[[], None]]
"""Makes ready to send; what comes of it sends."""

BATCH = 500
SITES, CORALS, ROUNDS = 6, 25, 8
A_PLOT = CORALS + 3 + ROUNDS * (CORALS + 2)
"""Entries of one plot through its life: its registration, plantings, and a session a round."""

PROTOCOL = (SAMPLE_SURVEYS / "protocols" / "post_outplant_monitoring.toml").read_bytes()
DIGEST = read_protocol(PROTOCOL, name="protocol").digest
PLANTED = date(2024, 1, 15)


class Session:
    """A session, written entry by entry."""

    def __init__(self, *named: object, **values: Any) -> None:
        self.id = derived_id("session", *map(str, named))
        self.device = derived_id("device", str(named[-1]))
        self.entries: list[Entry] = []
        self.say("session", **values)

    def say(self, kind: str, **values: Any) -> None:
        seq = len(self.entries) + 1
        self.entries.append(mint(kind, device=self.device, session=self.id, seq=seq, at=0, values=values))


def founding(plots: Sequence[int]) -> Iterator[Entry]:
    """Sites, plots and their plantings."""
    register = Session("register", role="lead")
    for site in range(SITES):
        register.say("site", site=derived_id("site", str(site)), name=f"Site {site}")
    register.say("genotype", genotype=derived_id("genotype"), accession="G1", species="Acropora sp.")
    for plot in plots:
        names = {"plot": derived_id("plot", str(plot)), "site": derived_id("site", str(plot % SITES))}
        register.say("plot", **names, name=f"P{plot}", recorded_as="tagged")
        session = Session("planting", plot, role="crew", site=names["site"], day=str(PLANTED))
        for i in range(CORALS):
            row = {"row": derived_id("coral", str(plot), str(i)), "tag": f"{plot}-{i:02}", "position": str(i)}
            session.say("planting", plot=names["plot"], genotype=derived_id("genotype"), **row)
        yield from session.entries
    yield from register.entries


def round_of(number: int, plots: Sequence[int]) -> Iterator[Entry]:
    """One round: a session a plot, six plots a day."""
    for place, plot in enumerate(plots):
        day = PLANTED + timedelta(days=91 * number + place // SITES % 60)
        head = {"site": derived_id("site", str(plot % SITES)), "day": str(day), "recorder": f"R{plot % 5}"}
        plot_id = derived_id("plot", str(plot))
        session = Session("round", number, plot, role="crew", protocol=DIGEST, **head)
        for i in range(CORALS):
            coral = derived_id("coral", str(plot), str(i))
            row = {"row": derived_id("row", str(number), coral), "plot": plot_id, "tag": f"{plot}-{i:02}"}
            alive = (i + plot) % 10 or number < 5
            seen = (
                {"status": "alive", "size_cm": f"{8 + number}.{i % 10}", "bleaching": "none"} if alive else {"status": "dead"}
            )
            session.say("observation", **row, **seen)
        session.say("close", n=len(session.entries), photos="0")
        yield from session.entries


def programme(entries: int) -> list[Entry]:
    """About so many entries, in the order in which they would have come in."""
    plots = range(max(20, entries // A_PLOT))
    found = list(founding(plots))
    for number in range(1, ROUNDS + 1):
        found += round_of(number, plots)
    return found


def next_hand_in() -> list[Entry]:
    """Twenty plots of the next round."""
    return list(round_of(ROUNDS + 1, range(20)))[:BATCH]


def timed(called: str, n: int, work: Callable[[], Any]) -> Any:
    wall, processor = perf_counter(), process_time()
    given = work()
    told(called, n, perf_counter() - wall, process_time() - processor)
    return given


def told(called: str, n: int, wall: float, processor: float) -> None:
    print(f"{called:<58} {n:>9,} entries {wall:8.2f} s {processor:8.2f} s cpu {n / wall:>9,.0f} a second", flush=True)


def floor(path: Path, entries: Sequence[Entry]) -> None:
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("CREATE TABLE ledger (digest TEXT UNIQUE, session TEXT, seq INTEGER, kind TEXT, body BLOB)")
        for batch in batches(entries):
            connection.execute("BEGIN IMMEDIATE")
            rows = [(entry.digest, entry.session, entry.seq, entry.kind, entry.body) for entry in batch]
            connection.executemany("INSERT INTO ledger VALUES (?, ?, ?, ?, ?)", rows)
            connection.execute("COMMIT")


def batches(entries: Sequence[Entry]) -> Iterator[Sequence[Entry]]:
    for i in range(0, len(entries), BATCH):
        yield entries[i : i + BATCH]


def base_in(folder: Path) -> Base:
    base = Base.create(folder, "Bench")
    base.keep_protocol(PROTOCOL)
    return base


def receive_all(base: Base, entries: Sequence[Entry]) -> None:
    for batch in batches(entries):
        base.receive(batch, source="bench")


def from_nothing(base: Base) -> None:
    with base._database.writing() as connection:
        Keeper(Ledger(connection), State(connection), base.protocol).from_nothing()


def taking_in(folder: Path, sizes: Sequence[int]) -> None:
    entries = programme(10_000)
    timed("floor: the same rows by executemany, 500 at a time", len(entries), lambda: floor(folder / "floor.db", entries))
    base = base_in(folder / "received")
    timed("Base.receive, 500 at a time", len(entries), lambda: receive_all(base, entries))
    base.carry(folder / "carried.zip")
    other = Base.create(folder / "merged", "Bench", base.programme)
    timed("Base.merge of a carry file", len(entries), lambda: other.merge(folder / "carried.zip"))
    again = timed("the same carry file again: nothing is new", len(entries), lambda: other.merge(folder / "carried.zip"))
    assert again.new == 0
    for size in sizes:
        handing_in(folder, size)


def handing_in(folder: Path, size: int) -> None:
    entries = programme(size)
    base = base_in(folder / str(size))
    timed(f"Base.receive at once, {size:,}", len(entries), lambda: base.receive(entries, source="bench"))
    if size == 100_000:
        timed("the state from nothing", len(entries), lambda: from_nothing(base))
    new = next_hand_in()
    timed(f"hand-in of {len(new)} on a ledger of {len(entries):,}", len(new), lambda: base.receive(new, source="bench"))


# over TLS


class Serving:
    """A base served over TLS by a process of its own; its processor time and memory are read from the outside."""

    def __init__(self, base: Base) -> None:
        authority = Authority.of(base.folder, base.programme_name).as_pem.decode("ascii")
        access = Access(base.folder)
        _, token = access.devices.pair(access.devices.invite("base"), "bench", "")
        # Not a fork: its memory is its own. And without pandas, a witness of the tests that sqlite-utils loads where it is.
        begin = f"import runpy, sys; sys.modules['pandas'] = None; runpy.run_path({__file__!r}, run_name='__main__')"
        call = [sys.executable, "-c", begin, "--serve", str(base.folder)]
        self._process = subprocess.Popen(call, stdout=subprocess.PIPE, text=True)
        self.process = self._process.pid
        assert self._process.stdout
        port = int(self._process.stdout.readline())
        self.another_wire = partial(Https, f"https://127.0.0.1:{port}", authority=authority, token=token)
        self.wire = self.another_wire()
        self.wire.ask("GET", "hello")

    def processor(self) -> float:
        fields = Path(f"/proc/{self.process}/stat").read_text().rpartition(")")[2].split()
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def memory_mib(self) -> tuple[float, float]:
        """Resident now, and at most so far."""
        status = dict(line.split(":", 1) for line in Path(f"/proc/{self.process}/status").read_text().splitlines())
        now, most = (int(status[name].split()[0]) / 1024 for name in ("VmRSS", "VmHWM"))
        return now, most

    def close(self) -> None:
        self.wire.close()
        self._process.kill()
        self._process.communicate()


def serve(folder: Path) -> None:
    """As `fieldkit serve` does, but for what is measured apart: the state that follows, and backups."""
    base, access = Base(folder), Access(folder)
    with base.held_open(), access.held_open(), quick_turns():
        vouching = Vouching(Authority.of(folder, base.programme_name), lambda: ("fieldkit.local",))
        listening = Listening("127.0.0.1", 0, create_app(base, access), vouching)
        listening.begin()
        print(listening.port, flush=True)
        signal.pause()


@contextmanager
def serving(base: Base) -> Iterator[Serving]:
    server = Serving(base)
    try:
        yield server
    finally:
        server.close()


def post(server: Serving, bodies: Iterable[bytes]) -> None:
    for body in bodies:
        answer = server.wire.ask("POST", "entries", body=body, headers={"Content-Type": "text/plain"})
        assert answer.is_good, answer.detail
        assert answer.json()["refused"] == []


def entries_over_tls(folder: Path) -> None:
    entries = programme(20_000)
    bodies = [b"".join(entry.line for entry in batch) for batch in batches(entries)]
    floors, ways = [], []
    for turn in range(3):
        wall, processor = perf_counter(), process_time()
        floor(folder / f"floor {turn}.db", entries)
        floors.append((perf_counter() - wall, process_time() - processor))
        with serving(base_in(folder / f"tls {turn}")) as server:
            wall, processor = perf_counter(), server.processor()
            post(server, bodies)
            ways.append((perf_counter() - wall, server.processor() - processor))
    best_floor, best_way = min(floors), min(ways)
    told("floor: the same rows by executemany, 500 at a time", len(entries), *best_floor)
    told("entries over TLS, kept before the answer (server's cpu)", len(entries), *best_way)
    wall, processor = best_floor[0] / best_way[0], min(f[1] for f in floors) / min(w[1] for w in ways)
    print(f"  of the floor: {wall:.0%} by the clock, {processor:.0%} by processor time (best of 3 turns)", flush=True)


def photos_over_tls(folder: Path) -> None:
    base = base_in(folder / "photos")
    with serving(base) as server:
        at_start, _ = server.memory_mib()
        for connections, turns in ((1, 8), (2, 8), (10, 3)):
            photos_of(folder, base, server, connections, turns)
        before, most = server.memory_mib()
        largest_photo = b"\xff\xd8\xff" + os.urandom(MOST_PHOTO_BYTES - 3)
        send(server.wire, largest_photo, sha256(largest_photo))
        _, largest = server.memory_mib()
    print(f"the server's memory: {at_start:.0f} MiB at start, {before:.0f} after these photos, {most:.0f} at most;"
          f" {largest - most:+.0f} for one of {MOST_PHOTO_BYTES >> 20} MiB", flush=True)  # fmt: skip


def photos_of(folder: Path, base: Base, server: Serving, connections: int, turns: int) -> None:
    """By turns: three photos over each of so many connections, all at once, to the base and to the two floors."""
    authority = Authority.of(base.folder, base.programme_name)
    plain, secure, ways = [], [], []
    spent = {"server": 0.0, "who sends": 0.0}
    for _ in range(turns):
        lanes = [[b"\xff\xd8\xff" + os.urandom(5_000_000) for _ in range(3)] for _ in range(connections)]
        plain.append(photo_floor(folder, lanes))
        secure.append(photo_floor(folder, lanes, authority))
        before = server.processor()
        took, theirs = at_once([partial(handing, server, lane) for lane in lanes])
        ways.append(took)
        spent["server"] += server.processor() - before
        spent["who sends"] += theirs
    photos = 3 * connections
    megabytes = photos * len(lanes[0][0]) / 1e6
    print(f"photos of 5 MB over {connections} connection(s)")
    for called, times in (
        ("floor: socket to file, SHA-256, fsync", plain),
        ("TLS alone: the same through a TLS socket, nothing else", secure),
        ("photos over TLS in pieces of 1 MiB, kept before the answer", ways),
    ):
        print(f"{called:<58} {megabytes / median(times):8.0f} MB/s (median; best {megabytes / min(times):.0f})")
    for called, times in (("the floor", plain), ("TLS alone", secure)):
        print(f"  of {called}: {median(times) / median(ways):.0%} (medians of {turns}, by turns),"
              f" {min(times) / min(ways):.0%} (best of each)")  # fmt: skip
    told = ", ".join(f"{who} {1000 * seconds / turns / photos:.1f} ms" for who, seconds in spent.items())
    print(f"  processor time a photo: {told}", flush=True)


def handing(server: Serving, photos: Sequence[bytes]) -> Callable[[], None]:
    """A device that is ready to send: it knows the digests since the pictures were taken, and has said hello."""
    digests = list(map(sha256, photos))
    wire = server.another_wire()
    wire.ask("GET", "hello")

    def begin() -> None:
        for photo, digest in zip(photos, digests, strict=True):
            send(wire, photo, digest)

    return begin


def send(wire: Https, photo: bytes, digest: str) -> None:
    for offset in range(0, len(photo), PIECE):
        is_last = offset + PIECE >= len(photo)
        headers = {
            "Content-Type": "application/partial-upload",
            "Upload-Offset": str(offset),
            "Upload-Complete": "?1" if is_last else "?0",
            "Upload-Length": str(len(photo)),
        }
        answer = wire.ask("PATCH", f"photos/{digest}", body=photo[offset : offset + PIECE], headers=headers)
        assert answer.is_good, answer.detail


def photo_floor(folder: Path, lanes: Sequence[Sequence[bytes]], authority: Authority | None = None) -> float:
    """Seconds from a socket a lane to files on the disk, with their digests, a thread a lane. With an authority: over TLS."""
    pairs = [socket.socketpair() for _ in lanes]
    vouched = Vouching(authority, lambda: ("fieldkit.local",)).context_for("127.0.0.1") if authority else None
    pem = authority.as_pem.decode("ascii") if authority else None

    digests = [[b""] * len(lane) for lane in lanes]

    def receive(there: socket.socket, place: int) -> None:
        source = vouched.wrap_socket(there, server_side=True) if vouched else there
        with source:
            for i, photo in enumerate(lanes[place]):
                digests[place][i] = kept(source, folder / f"{place} {i}.jpg", len(photo))

    receiving = [threading.Thread(target=receive, args=(there, i)) for i, (_, there) in enumerate(pairs)]
    took, _ = at_once([partial(sending, here, lane, pem) for (here, _), lane in zip(pairs, lanes, strict=True)], receiving)
    assert digests == [[hashlib.sha256(photo).digest() for photo in lane] for lane in lanes]
    for path in folder.glob("*.jpg"):
        path.unlink()
    return took


def kept(source: socket.socket, path: Path, size: int) -> bytes:
    """So many bytes of a socket in a file on the disk; gives their digest."""
    hasher = hashlib.sha256()
    with path.open("wb") as file:
        while size:
            some = source.recv(min(64 * 1024, size))
            file.write(some)
            hasher.update(some)
            size -= len(some)
        file.flush()
        os.fsync(file.fileno())
    return hasher.digest()


def sending(here: socket.socket, photos: Sequence[bytes], certificate: str | None) -> Callable[[], None]:
    source = here
    if certificate:
        context = ssl.create_default_context(cadata=certificate)
        context.check_hostname = False
        source = context.wrap_socket(here)

    def begin() -> None:
        with source:
            for photo in photos:
                source.sendall(photo)

    return begin


def at_once(
    senders: Sequence[Callable[[], Callable[[], None]]], receiving: Sequence[threading.Thread] = ()
) -> tuple[float, float]:
    """Seconds until all are done, and processor time of those who send: each in a process of its own, as a phone is, that makes
    itself ready and then begins together with the others."""
    processes = [Sender(prepare) for prepare in senders]
    for thread in receiving:
        thread.start()
    for process in processes:
        process.is_ready()
    began = perf_counter()
    for process in processes:
        process.begin()
    for thread in receiving:
        thread.join()
    theirs = sum(process.ended() for process in processes)
    return perf_counter() - began, theirs


class Sender:
    """A process that sends once it is told to."""

    def __init__(self, prepare: Prepare) -> None:
        self._pipe, theirs = socket.socketpair()
        self._id = os.fork()
        if self._id == 0:
            self._send(theirs, prepare)
        theirs.close()

    def _send(self, pipe: socket.socket, prepare: Prepare) -> NoReturn:
        failed = 1
        try:
            begin = prepare()
            pipe.sendall(b".")
            pipe.recv(1)
            before = process_time()
            begin()
            pipe.sendall(b"%f" % (process_time() - before))
            failed = 0
        finally:
            os._exit(failed)

    def is_ready(self) -> None:
        assert self._pipe.recv(1) == b"."

    def begin(self) -> None:
        self._pipe.sendall(b".")

    def ended(self) -> float:
        """Seconds of processor time that it sent for."""
        with self._pipe:
            said = self._pipe.recv(100)
        assert os.waitpid(self._id, 0)[1] == 0
        return float(said)


def hand_ins_by_size(folder: Path, sizes: Sequence[int]) -> None:
    """The same twenty requests of 500 entries, by turns on ledgers of these sizes."""
    with ExitStack() as every:
        servers = {}
        for size in sizes:
            base = base_in(folder / f"of {size}")
            fill(base, size)
            servers[size] = every.enter_context(serving(base))
        walls: dict[int, list[float]] = {size: [] for size in sizes}
        before = {size: server.processor() for size, server in servers.items()}
        for batch in list(batches(list(copies(20 * BATCH, "new"))))[:20]:
            for size, server in servers.items():
                began = perf_counter()
                post(server, [b"".join(entry.line for entry in batch)])
                walls[size].append(perf_counter() - began)
        spent = {size: (server.processor() - before[size]) / 20 for size, server in servers.items()}
    least = sizes[0]
    for size in sizes:
        wall, best = median(walls[size]), min(walls[size])
        ratios = wall / median(walls[least]), best / min(walls[least]), spent[size] / spent[least]
        print(f"500 entries over TLS on a ledger of {size:>9,}: {1000 * wall:7.1f} ms (median; best {1000 * best:.1f}),"
              f" {1000 * spent[size]:6.1f} ms of processor; {', '.join(f'{ratio:.2f}' for ratio in ratios)} times the smallest",
              flush=True)  # fmt: skip


def fill(base: Base, size: int) -> None:
    """So many entries, appended without a fold: only the size of the ledger is to matter."""
    with base._database.writing() as connection:
        Ledger(connection).append(copies(size, "old"), source="bench", received_at=0)
        Ledger(connection).index()
    with base._database.writing() as connection:
        State(connection).put_folded(Ledger(connection).newest_place)


def copies(size: int, called: str) -> Iterator[Entry]:
    """Sessions of a round, copied under other names: as good as new to the ledger, and quickly made."""
    (session,) = [list(round_of(1, [0]))]
    plot = derived_id("plot", "0")
    for i in range(1 + size // len(session)):
        named = derived_id(called, str(i))
        other_plot = derived_id("plot", str(i % 5000))
        for entry in session:
            body = entry.body.replace(entry.session.encode(), named.encode()).replace(plot.encode(), other_plot.encode())
            values = {name: other_plot if value == plot else value for name, value in entry.values.items()}
            yield replace(entry, digest=sha256(body), body=body, session=named, values=values)


def main() -> None:
    parser = argparse.ArgumentParser(description="How fast a base takes in what was noted.")
    parser.add_argument("--million", action="store_true", help="also a ledger of 1,000,000 entries; some minutes and 3 GB")
    parser.add_argument("--folder", type=Path, help="where to work; a temporary folder where absent")
    parser.add_argument("--only", choices=("entries", "photos", "sizes", "base"), help="one part alone")
    parser.add_argument("--serve", type=Path, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.serve:
        serve(options.serve)
    folder = Path(mkdtemp(prefix="bench-", dir=options.folder))
    try:
        sizes = [10_000, 100_000, *([1_000_000] if options.million else [])]
        parts: dict[str, Callable[[], None]] = {
            "entries": lambda: entries_over_tls(folder),
            "photos": lambda: photos_over_tls(folder),
            "sizes": lambda: hand_ins_by_size(folder, sizes),
            "base": lambda: taking_in(folder, sizes[:2]),
        }
        for part in [options.only] if options.only else parts:
            parts[part]()
    finally:
        rmtree(folder)


if __name__ == "__main__":
    main()
