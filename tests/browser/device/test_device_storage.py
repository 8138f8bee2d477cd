"""What is kept through kills, second tabs, full storage and plain http, in the engines that have a profile which lasts."""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path

import pytest
from playwright.sync_api import Error, Playwright

from fieldkit.ledger.canonical import sha256
from fieldkit.ledger.entry import read_line
from tests.browser.device.conftest import EMPTIED, HEAD, OPENED, PAIRED
from tests.browser.device.windows import Chromium, Engine, Window, running

TAKES_A_PHOTO = """
    const session = await device.startSession(given.head);
    const file = new File([new Uint8Array(3_000_000).fill(7)], "a.jpg", {type: "image/jpeg"});
    const {photo} = await device.addPhoto(session, {view: "slate", file});
"""
# Row after row until the browser is gone; the title tells the last one that was acknowledged.
TYPES_ON = """
    const type = async () => {
      for (let n = 1; ; n += 1) {
        await device.putRow(session, {kind: "observation", values: {tag: `B${n}`}, order: n});
        document.title = n;
      }
    };
    type().catch(() => {});
    return photo;
"""
DIGEST_OF_PHOTO = """
    const {openPhotos} = await import("/entry/device/notes.js");
    const {sha256} = await import("/entry/device/digest.js");
    const kept = await openPhotos().read(["bytes"], (tx) => tx.objectStore("bytes").get(given));
    return sha256(kept.bytes);
"""
TAGS = "return (await device.rows((await device.sessions())[0].session)).map((row) => row.values.tag)"


@pytest.fixture(scope="module", params=["chromium", "firefox"])
def engine(
    request: pytest.FixtureRequest, playwright: Playwright, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Engine]:
    with running(request.param, tmp_path_factory.mktemp("profile"), playwright) as found:
        yield found


Opened = Callable[..., Window]


@pytest.fixture
def opened(engine: Engine, port: int) -> Iterator[Opened]:
    """Opens another tab with `device`; the first is paired, and nothing was noted on it. Afterwards none of them is open."""
    windows = list[Window]()

    def open_(host: str = "127.0.0.1") -> Window:
        windows.append(engine.window())
        windows[-1].open(f"http://{host}:{port}/")
        windows[-1].run(OPENED if len(windows) > 1 else EMPTIED + PAIRED + OPENED)
        return windows[-1]

    yield open_
    for window in windows:
        with suppress(Error, RuntimeError):  # it was killed
            window.open("about:blank")


def test_what_was_acknowledged_outlives_the_killed_browser(engine: Engine, opened: Opened) -> None:
    window = opened()
    photo = window.run(TAKES_A_PHOTO + TYPES_ON, {"head": HEAD})
    time.sleep(random.Random(7).uniform(0.1, 0.4))
    last = int(window.run("return document.title"))
    engine.kill()
    window = opened()
    tags, kept = window.run(TAGS), window.run(DIGEST_OF_PHOTO, photo)
    assert tags[:last] == [f"B{n}" for n in range(1, last + 1)] and last > 0
    assert kept == photo


# The photo is on the disk, and the browser gone before the note that names it.
KILLED_BEFORE_IT_IS_NAMED = """
    const session = await device.startSession(given.head);
    const begin = IDBDatabase.prototype.transaction;
    IDBDatabase.prototype.transaction = function (stores, mode, ...how) {
      if (stores.includes("shown") && mode === "readwrite") throw new DOMException("killed", "AbortError");
      return begin.call(this, stores, mode, ...how);
    };
    const file = new File([new Uint8Array([1, 2, 3])], "a.jpg", {type: "image/jpeg"});
    return device.addPhoto(session, {view: "slate", file}).then(() => "named", () => "killed");
"""
PHOTOS = """
    const {openPhotos} = await import("/entry/device/notes.js");
    const [{session}] = await device.sessions();
    const named = (await device.photos(session)).map(({photo, view, bytes}) => ({photo, view, bytes}));
    return [named, await openPhotos().read(["bytes"], (tx) => tx.objectStore("bytes").getAllKeys())];
"""


def test_a_photo_that_was_on_its_way_when_the_browser_was_killed_is_there_afterwards(opened: Opened) -> None:
    window = opened()
    assert window.run(KILLED_BEFORE_IT_IS_NAMED, {"head": HEAD}) == "killed"
    window.open("about:blank")
    named, kept = opened().run(PHOTOS)
    assert named == [{"photo": sha256(b"\x01\x02\x03"), "view": "slate", "bytes": 3}]
    assert kept == [named[0]["photo"]]


def test_a_photo_that_nothing_names_takes_no_room_once_the_page_is_opened_again(opened: Opened) -> None:
    window = opened()
    window.run(TAKES_A_PHOTO, {"head": HEAD})
    window.run(
        """
        const {openPhotos} = await import("/entry/device/notes.js");
        const nameless = {photo: "00", bytes: new ArrayBuffer(9), type: ""};
        await openPhotos().write(["bytes"], (tx) => tx.objectStore("bytes").put(nameless));
        """
    )
    window.open("about:blank")
    named, kept = opened().run(PHOTOS)
    assert kept == [named[0]["photo"]]


@pytest.mark.parametrize("host", ["127.0.0.1", "base.local"], ids=["with locks", "plain http"])
def test_of_two_tabs_one_writes_until_it_closes(opened: Opened, host: str) -> None:
    first, second = opened(host), opened(host)
    assert (first.run("return device.isWriter"), second.run("return device.isWriter")) == (True, False)
    put = """
        const session = await device.startSession(given.head).catch((error) => error.code);
        return [session, device.trouble?.what];
    """
    assert second.run(put, {"head": HEAD}) == ["other_tab", "other_tab"]
    first.open("about:blank")
    session, trouble = second.run(
        """
        if (!device.isWriter) await new Promise((done) => device.addEventListener("change", () => device.isWriter && done()));
        """
        + put,
        {"head": HEAD},
    )
    assert (trouble, len(session)) == (None, 36)


def test_a_tab_hears_what_another_has_written(opened: Opened) -> None:
    first, second = opened(), opened()
    second.run("globalThis.heard = []; device.addEventListener('change', (event) => heard.push(event.detail))")
    session = first.run(
        "const session = await device.startSession(given.head); await device.putRow(session, given.row); return session;",
        {"head": HEAD, "row": {"row": HEAD["site"], "kind": "observation", "values": {}, "order": 1}},
    )
    heard = second.run("while (heard.length < 2) await new Promise((done) => setTimeout(done, 20)); return heard;")
    assert heard == [{"what": "session", "session": session}, {"what": "row", "session": session, "row": HEAD["site"]}]


def test_a_tab_that_was_passed_over_writes_nothing_more(opened: Opened) -> None:
    window = opened()
    told = window.run(
        """
        const {openNotes} = await import("/entry/device/notes.js");
        await openNotes().write(["keep"], (tx) => tx.objectStore("keep").put("another tab", "writer"));
        const why = await device.startSession(given.head).catch((error) => error.code);
        return [why, device.isWriter, (await device.sessions()).length];
        """,
        {"head": HEAD},
    )
    assert told == ["other_tab", False, 0]


def test_on_plain_http_notes_are_sealed_all_the_same(opened: Opened) -> None:
    window = opened("base.local")
    is_secure, lines = window.run(
        """
        const session = await device.startSession(given.head);
        await device.putRow(session, {kind: "observation", values: {tag: "B104"}, order: 1});
        await device.closeSession(session);
        await device.carryFile();
        const {openNotes} = await import("/entry/device/notes.js");
        const entries = await openNotes().read(["entry"], (tx) => tx.objectStore("entry").index("place").getAll());
        return [Boolean(crypto.subtle), entries.map(({digest, body}) => `${digest} ${body}`)];
        """,
        {"head": HEAD},
    )
    assert not is_secure
    assert [read_line(line.encode()).kind for line in lines] == ["session", "observation", "close"]


# Noise, since Chromium compresses what it stores.
def test_where_photos_do_not_fit_any_more_it_is_said_and_notes_still_do(
    port: int, playwright: Playwright, tmp_path: Path
) -> None:
    with running("chromium", tmp_path, playwright) as engine:
        assert isinstance(engine, Chromium)
        origin = f"http://127.0.0.1:{port}"
        page = engine.context.new_page()
        control = engine.context.new_cdp_session(page)  # the quota holds from before the page touches its databases
        control.send("Storage.overrideQuotaForOrigin", {"origin": origin, "quotaSize": 6_000_000})
        page.goto(f"{origin}/")
        page.evaluate("async () => {" + PAIRED + OPENED + "}")
        told = page.evaluate(
            """async (given) => {
              const session = await device.startSession(given.head);
              const taken = [];
              for (let n = 1; n <= 6; n += 1) {
                const noise = Array.from({length: 32}, () => crypto.getRandomValues(new Uint8Array(65_536)));
                const file = new File(noise, "a.jpg");
                taken.push(await device.addPhoto(session, {view: "slate", file}).then(() => "kept", (error) => error.code));
              }
              const {full} = await device.means();
              await device.putRow(session, {kind: "observation", values: {tag: "B104"}, order: 1});
              const [told] = await device.sessions();
              return {taken, full, rows: told.rows, photos: told.photos};
            }""",
            {"head": HEAD},
        )
    kept = told["taken"].count("kept")
    assert told["taken"] == ["kept"] * kept + ["full"] * (6 - kept) and 0 < kept < 6
    assert (told["full"], told["rows"], told["photos"]) == (True, 1, kept)


def test_without_any_storage_the_page_says_so(opened: Opened) -> None:
    window = opened()
    told = window.run(
        "Object.defineProperty(globalThis, 'indexedDB', {value: undefined});"
        + OPENED
        + "return [device.trouble.what, device.isWriter]"
    )
    assert told == ["no_storage", False]
