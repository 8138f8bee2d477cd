"""What the entry page costs a phone, and what a boat day of phones costs a base.

    python scripts/bench/entry_page.py [slate] [device] [boat_day] [--folder DIR]

slate       What `entry_slate.py` beside this tells: what the page weighs, how long it takes to open without signal, how
            long a tap takes with 300 corals, taps a coral.

device      A page with 1,000 observations and 200 photos of 2 MB in one session, in Chromium: heap of the page and memory of
            its process before and after, and how long a row takes until it is on the disk, beside a transaction that puts the
            same object and nothing else (the floor).
boat_day    Ten phones hand in 300 entries and 60 photos of 2 MB each at once, over TLS to a real base, while somebody looks at
            its pages: seconds and MB/s, beside writing and forcing the same bytes to the same disk (the floor), and how long
            a page takes meanwhile, beside the same page before. Phones are simulated by a client that speaks the wire.

Without a name: all. Run it on a quiet machine; figures of one run compare with each other, not with those of another machine.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import os
import random
import statistics
import sys
import threading
from collections.abc import Callable, Collection, Iterable, Mapping
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp
from time import perf_counter
from typing import Any, BinaryIO

import urllib3
from playwright.sync_api import sync_playwright

sys.path.insert(0, str(Path(__file__).parents[2]))

from fieldkit.base import Base
from fieldkit.exchange.handing_in import hand_in
from fieldkit.exchange.wire import Https, asked
from fieldkit.ledger import Entry, derived_id, mint
from fieldkit.ledger.store import Summary
from fieldkit.shipped import SAMPLE_SURVEYS
from scripts.bench.entry_slate import measure as slate
from tests.browser.device.conftest import HEAD, OPENED, PAIRED
from tests.browser.device.served_base import ServedBase
from tests.browser.device.site import served
from tests.browser.device.windows import Chromium, Tab, running

PHOTO_BYTES = 2_000_000
OBSERVATIONS, PHOTOS = 1000, 200
PHONES, PHONE_ENTRIES, PHONE_PHOTOS = 10, 300, 60
LOOKS = 40  # at a page, before and during

ROWS = """
    const times = [];
    const session = await device.startSession(given.head);
    for (let n = 0; n < given.rows; n += 1) {
      const values = {tag: `B${n}`, status: "alive", size_cm: "12.5", line: String(n)};
      const began = performance.now();
      await device.putRow(session, {kind: "observation", values, order: n});
      times.push(performance.now() - began);
    }
    globalThis.session = session;
    return times;
"""
FLOOR = """
    const {openDB} = await import("idb");
    const db = await openDB("floor", 1, {upgrade: (db) => db.createObjectStore("draft", {keyPath: ["session", "row"]})});
    const times = [];
    for (let n = 0; n < given.rows; n += 1) {
      const values = {tag: `B${n}`, status: "alive", size_cm: "12.5", line: String(n)};
      const began = performance.now();
      const transaction = db.transaction("draft", "readwrite", {durability: "strict"});
      transaction.store.put({session: "s", row: crypto.randomUUID(), kind: "observation", values, order: n, at: Date.now()});
      await transaction.done;
      times.push(performance.now() - began);
    }
    return times;
"""
TAKES_PHOTOS = """
    const times = [];
    const rows = await device.rows(session);
    for (let n = 0; n < given.photos; n += 1) {
      const bytes = new Uint8Array(given.bytes);
      for (let at = 0; at < bytes.length; at += 65536) crypto.getRandomValues(bytes.subarray(at, at + 65536));
      const file = new File([bytes], "a.jpg", {type: "image/jpeg"});
      const began = performance.now();
      await device.addPhoto(session, {row: rows[n].row, view: "whole", file});
      times.push(performance.now() - began);
    }
    return times;
"""
LISTS = """
    const times = [];
    for (let n = 0; n < 20; n += 1) {
      const began = performance.now();
      await given.reduce((before, name) => before.then(() => device[name]()), Promise.resolve());
      times.push(performance.now() - began);
    }
    return times;
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("parts", nargs="*", choices=["slate", "device", "boat_day", []], default=[])
    parser.add_argument("--folder", type=Path, help="where to work; default: a temporary folder")
    options = parser.parse_args()
    folder = options.folder or Path(mkdtemp())
    parts: Mapping[str, Callable[[Path], None]] = {"slate": lambda _: slate(), "device": device, "boat_day": boat_day}
    try:
        for name in options.parts or parts:
            print(f"\n{name}")
            parts[name](folder / name)
    finally:
        if options.folder is None:
            rmtree(folder, ignore_errors=True)


def device(folder: Path) -> None:
    with served() as port, sync_playwright() as playwright, running("chromium", folder, playwright) as engine:
        assert isinstance(engine, Chromium)
        page = engine.context.new_page()
        control = engine.context.new_cdp_session(page)
        page.goto(f"http://127.0.0.1:{port}/")
        run = Tab(page).run
        run(PAIRED + OPENED)
        given = {"head": HEAD, "rows": OBSERVATIONS, "photos": PHOTOS, "bytes": PHOTO_BYTES}
        before = _memory(control, engine)
        floor, rows = run(FLOOR, given), run(ROWS, given)
        after_rows = _memory(control, engine)
        photos = run(TAKES_PHOTOS, given)
        after = _memory(control, engine)
        _told("row on the disk", rows, "ms")
        _told("  the floor, the same object alone", floor, "ms")
        print(f"  ratio of medians {statistics.median(rows) / statistics.median(floor):.2f}")
        _told(f"photo of {PHOTO_BYTES / 1e6:.0f} MB hashed and on the disk", photos, "ms")
        for name in ("sessions", "onlyHere"):
            _told(f"{name}() with all of it", run(LISTS, [name]), "ms")
        for name, (heap, resident) in (("empty page", before), ("with the rows", after_rows), ("with the photos", after)):
            print(f"{name:40} heap {heap / 1e6:6.1f} MB   process {resident / 1e6:6.0f} MB")


def _memory(control: Any, engine: Chromium) -> tuple[float, float]:
    """Used heap of the page after a collection, and resident memory of the largest renderer, bytes."""
    control.send("HeapProfiler.collectGarbage")
    control.send("Performance.enable")
    metrics = {one["name"]: one["value"] for one in control.send("Performance.getMetrics")["metrics"]}
    return metrics["JSHeapUsedSize"], max(_resident(process) for process in engine.renderers())


def _resident(process: int) -> int:
    return int(Path(f"/proc/{process}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")


class Phone:
    """What one phone holds at the end of a day, and may hand in."""

    def __init__(self, n: int, device_id: str) -> None:
        dice = random.Random(n)
        session = derived_id("session", str(n))
        values: list[tuple[str, dict[str, Any]]] = [("session", {**HEAD, "role": "crew"})]
        rows = [derived_id("row", str(n), str(i)) for i in range(PHONE_ENTRIES - 1 - PHONE_PHOTOS)]
        values += [
            ("observation", {"row": row, "tag": f"B{i}", "status": "alive", "size_cm": "12.5"}) for i, row in enumerate(rows)
        ]
        self._photos = {
            hashlib.sha256(body).hexdigest(): body for body in (dice.randbytes(PHOTO_BYTES) for _ in range(PHONE_PHOTOS))
        }
        values += [
            ("photo", {"row": rows[i], "photo": digest, "bytes": PHOTO_BYTES, "type": "image/jpeg", "view": "whole"})
            for i, digest in enumerate(self._photos)
        ]
        self._entries: dict[str, Entry] = {}
        self._session = session
        for seq, (kind, said) in enumerate(values, 1):
            entry = mint(kind, device=device_id, session=session, seq=seq, at=0, values=said)
            self._entries[entry.digest] = entry

    def summaries(self) -> Mapping[str, Summary]:
        total = sum(int(digest, 16) for digest in self._entries) % 2**256
        return {self._session: Summary(len(self._entries), f"{total:064x}")}

    def digests(self, sessions: Collection[str]) -> Mapping[str, Collection[str]]:
        return {self._session: list(self._entries)} if self._session in sessions else {}

    def lines(self, digests: Collection[str]) -> Iterable[bytes]:
        return [self._entries[digest].line for digest in digests]

    def photos(self) -> Collection[str]:
        return list(self._photos)

    def open_photo(self, digest: str) -> BinaryIO:
        return io.BytesIO(self._photos[digest])


def boat_day(folder: Path) -> None:
    Base.join(folder / "base", SAMPLE_SURVEYS / "programme.zip")
    base = ServedBase(folder / "base")
    base.start()
    try:
        authority = base.authority.read_text("ascii")
        phones = [_paired(n, base, authority) for n in range(PHONES)]
        size = PHONES * PHONE_PHOTOS * PHOTO_BYTES
        floor = _written(folder / "floor", size)
        quiet = _looks(base, threading.Event(), LOOKS)
        busy, failed, seconds = _handed_in(base, phones)
        print(
            f"{PHONES} phones, {PHONES * PHONE_ENTRIES} entries, {PHONES * PHONE_PHOTOS} photos of {PHOTO_BYTES / 1e6:.0f} MB"
        )
        print(
            f"handed in                                {seconds:7.1f} s   {size / seconds / 1e6:6.0f} MB/s   failed: {failed}"
        )
        print(f"  the floor, written and forced          {floor:7.1f} s   {size / floor / 1e6:6.0f} MB/s")
        print(f"  ratio                                  {seconds / floor:7.2f}")
        _told("a page before", quiet, "ms")
        _told("a page meanwhile", busy, "ms")
        print(f"  ratio of medians {statistics.median(busy) / statistics.median(quiet):.2f}")
        assert len(base.photos()) >= PHONES * PHONE_PHOTOS
    finally:
        base.stop()


def _paired(n: int, base: ServedBase, authority: str) -> tuple[Https, Phone]:
    """A phone that is paired, and its way to the base."""
    given = asked(Https(base.address(), authority=authority), "POST", "pair", {"code": base.invite(), "name": f"Phone {n}"})
    return Https(base.address(), authority=authority, token=given["token"]), Phone(n, given["device"])


def _handed_in(base: ServedBase, phones: list[tuple[Https, Phone]]) -> tuple[list[float], int, float]:
    """Milliseconds of looks at a page meanwhile, phones that failed, and seconds in all."""
    over, failed = threading.Event(), list[int]()

    def one(n: int) -> None:
        done = hand_in(*phones[n])
        if (done.entries, done.photos, done.refused, done.faults) != (PHONE_ENTRIES, PHONE_PHOTOS, [], []):
            failed.append(n)

    threads = [threading.Thread(target=one, args=(n,)) for n in range(len(phones))]
    looks = list[float]()
    looking = threading.Thread(target=lambda: looks.extend(_looks(base, over)))
    began = perf_counter()
    for thread in (looking, *threads):
        thread.start()
    for thread in threads:
        thread.join()
    seconds = perf_counter() - began
    over.set()
    looking.join()
    return looks, len(failed), seconds


def _looks(base: ServedBase, over: threading.Event, most: int = 100_000) -> list[float]:
    """How many milliseconds the page of the days takes, each time; four times a second."""
    times = []
    with urllib3.PoolManager() as pool:
        while len(times) < most and not over.wait(0.25 if times else 0):
            began = perf_counter()
            answer = pool.request("GET", f"{base.pages}days")
            assert answer.status == 200, answer.status
            times.append((perf_counter() - began) * 1000)
    return times


def _written(path: Path, size: int) -> float:
    """Seconds to write so many bytes in files of a photo's size, each forced to the disk."""
    body = random.Random(0).randbytes(PHOTO_BYTES)
    path.mkdir(parents=True)
    began = perf_counter()
    for n in range(size // PHOTO_BYTES):
        with (path / str(n)).open("wb") as file:
            file.write(body)
            file.flush()
            os.fsync(file.fileno())
    seconds = perf_counter() - began
    rmtree(path)
    return seconds


def _told(name: str, times: list[float], unit: str) -> None:
    cut = statistics.quantiles(times, n=20)
    print(f"{name:40} median {statistics.median(times):8.1f} {unit}   p95 {cut[-1]:8.1f} {unit}   n {len(times)}")


if __name__ == "__main__":
    main()
