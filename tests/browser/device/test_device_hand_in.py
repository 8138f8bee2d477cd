"""Handing in to a real base over TLS, from a page of another address, as three engines do it."""

from __future__ import annotations

import shutil
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Playwright

from fieldkit.ledger.canonical import sha256
from tests.browser.device.conftest import EMPTIED, HEAD, OPENED
from tests.browser.device.served_base import ServedBase, bad_line
from tests.browser.device.windows import Engine, Window, running
from tests.support.programme import base_of

A_SESSION = """
    const session = await device.startSession(given.head);
    const put = (n) => device.putRow(session, {kind: "observation", order: n, values: {tag: `B${n}`, status: "alive"}});
    const rows = [await put(1), await put(2)];
    const took = (bytes) => new File([bytes], "a.jpg", {type: "image/jpeg"});
"""
ROW_3 = 'await device.putRow(session, {kind: "observation", order: 3, values: {tag: "B3", status: "alive"}});'
# Every store of the notes, as a backup of the phone keeps them.
BACKED_UP = """
    const {openNotes} = await import("/entry/device/notes.js");
    const stores = ["session", "draft", "shown", "entry", "mark", "refused", "moved"];
    const all = (tx) => Promise.all(stores.map((store) => tx.objectStore(store).getAll()));
    globalThis.backedUp = () => openNotes().read(stores, all);
    globalThis.putBack = (records) => openNotes().write(stores, async (tx) => {
      for (const [i, store] of stores.entries()) {
        await tx.objectStore(store).clear();
        for (const record of records[i]) await tx.objectStore(store).put(record);
      }
    });
"""
GOES_ON = """
    const {session} = (await device.sessions()).find(({continued_in}) => !continued_in);
    await device.putRow(session, {kind: "observation", order: 9, values: {tag: given.tag, status: "alive"}});
    return device.handIn();
"""
NOTHING = {"rows": 0, "entries": 0, "photos": 0, "bytes": 0, "oldest_at": None}


@pytest.fixture(scope="module", params=["chromium", "firefox", "webkit"])
def engine(
    request: pytest.FixtureRequest, playwright: Playwright, base: ServedBase, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Engine]:
    with running(request.param, tmp_path_factory.mktemp("profile"), playwright, base.authority) as found:
        yield found


@pytest.fixture
def own_base(base: ServedBase, tmp_path: Path) -> Iterator[ServedBase]:
    """A base that the test may stop and change; of the same authority, which the browsers trust."""
    base_of(tmp_path / "base")
    shutil.copytree(base.folder / "authority", tmp_path / "base" / "authority")
    served = ServedBase(tmp_path / "base")
    served.start()
    yield served
    served.stop()


@pytest.fixture
def window(tab: Window, port: int) -> Window:
    """A page with `device`, on which nothing was noted yet and which knows no base."""
    tab.open(f"http://127.0.0.1:{port}/")
    tab.run(EMPTIED + OPENED)
    return tab


def paired(window: Window, base: ServedBase, address: str | None = None, role: str = "crew") -> Window:
    given = {"code": base.invite(role), "name": "Blue phone", "address": address or base.address()}
    window.run("await device.pair(given)", given)
    return window


def run(window: Window, body: str, **named: Any) -> Any:
    return window.run(body, {"head": HEAD, **named})


def tags(base: ServedBase, window: Window) -> Counter[str]:
    """How often each coral was said to be seen, in the sessions that are on this device."""
    sessions = run(window, "return (await device.sessions()).map(({session}) => session)")
    said = [entry for entry in base.entries() if entry.session in sessions and entry.kind == "observation"]
    return Counter(entry.values["tag"] for entry in said)


def test_what_is_handed_in_is_on_the_base_and_no_more_only_here(engine: Engine, window: Window, base: ServedBase) -> None:
    photo = engine.name[0].encode() * 2_500_000  # another one in each engine: what the base holds already is not sent
    paired(window, base)
    told, after, [session] = run(
        window,
        A_SESSION
        + "await device.addPhoto(session, {row: rows[0], view: 'whole', file: took(given.letter.repeat(2_500_000))});"
        + "await device.closeSession(session);"
        + "return [await device.handIn({photos: true}), await device.onlyHere(), await device.sessions()];",
        letter=engine.name[0],
    )
    assert "error" not in told and told["entries"]["sent"] == 5 and told["photos"] == {"sent": 1, "left": 0}
    assert [entry.kind for entry in base.entries() if entry.session == session["session"]][-1] == "close"
    assert tags(base, window) == {"B1": 1, "B2": 1}
    assert base.photos()[sha256(photo)] == 2_500_000
    assert after == NOTHING | {"rows_on_base": 2}
    assert (session["on_base"], session["total"], session["photos_on_base"]) == (5, 5, 1)


def test_handed_in_twice_nothing_is_sent_twice(window: Window, base: ServedBase) -> None:
    paired(window, base)
    told = run(window, A_SESSION + "await device.handIn(); return device.handIn();")
    assert told["entries"] == {"sent": 0, "held": 3, "refused": 0} and "error" not in told


def test_notes_leave_at_once_and_photos_wait_until_they_are_asked_for(window: Window, base: ServedBase) -> None:
    paired(window, base)
    told = run(window, A_SESSION + "await device.addPhoto(session, {view: 'slate', file: took('x')}); return device.handIn();")
    assert (told["entries"]["sent"], told["photos"]) == (4, {"sent": 0, "left": 1})


def test_a_wrong_code_pairs_nothing(window: Window, base: ServedBase) -> None:
    given = {"code": "00000000", "name": "Blue phone", "address": base.address()}
    assert window.run("return device.pair(given).catch((error) => [error.code, device.pairing])", given) == ["wrong_code", None]


def test_a_photo_cut_off_on_its_way_is_resumed(engine: Engine, window: Window, base: ServedBase) -> None:
    size, fill = 3_500_000, len(engine.name)  # another photo in each engine
    with bad_line(base.port) as line:
        paired(window, base, f"https://127.0.0.1:{line.port}")
        line.cut_after = 700_000  # of each connection: within a piece
        run(
            window,
            A_SESSION
            + "await device.addPhoto(session, {view: 'slate', file: took(new Uint8Array(given.size).fill(given.fill))});"
            + "await device.handIn({photos: true});",
            **{"size": size, "fill": fill},
        )
        assert line.cuts > 0
        line.cut_after = None
        told = run(window, "return device.handIn({photos: true})")
        assert "error" not in told and told["photos"]["left"] == 0
        assert base.photos()[sha256(bytes([fill]) * size)] == size
        # Each cut costs a piece at most, whatever the browser sends again by itself.
        assert line.carried < size + line.cuts * 1_200_000


def test_of_photos_that_are_sent_side_by_side_each_arrives_whole_and_is_counted_once(
    engine: Engine, window: Window, base: ServedBase
) -> None:
    paired(window, base)
    sizes, fill = [1_500_000, 1_000, 1_200_000, 1_100_000, 2_000], 200 + len(engine.name)  # others in each engine
    told, seen = run(
        window,
        A_SESSION
        + """
        for (const [i, size] of given.sizes.entries()) {
          await device.addPhoto(session, {view: "slate", file: took(new Uint8Array(size).fill(given.fill + 10 * i))});
        }
        const seen = [];
        device.addEventListener("change", () => device.progress?.stage === "photos" && seen.push(device.progress.bytes_done));
        return [await device.handIn({photos: true}), seen];
        """,
        **{"sizes": sizes, "fill": fill},
    )
    assert "error" not in told and told["photos"] == {"sent": len(sizes), "left": 0}
    held = base.photos()
    assert [held[sha256(bytes([fill + 10 * i]) * size)] for i, size in enumerate(sizes)] == sizes
    assert seen == sorted(seen) and seen[-1] <= sum(sizes)


def test_a_base_that_was_stopped_is_found_at_its_new_address(window: Window, own_base: ServedBase) -> None:
    paired(window, own_base)
    own_base.stop()
    away = run(window, A_SESSION + "return device.handIn()")
    own_base.start()
    still_away = run(window, "return device.reach()")
    origin = run(window, "return device.addAddress(given.code)", code=own_base.code("127.0.0.2"))
    told = run(window, "return device.handIn()")
    assert away["error"]["code"] == "unreachable" and still_away is None
    assert origin == own_base.address("127.0.0.2")
    assert tags(own_base, window) == {"B1": 1, "B2": 1} and "error" not in told


@pytest.mark.parametrize("engine", ["chromium"], indirect=True)
def test_another_base_at_a_known_address_is_not_taken_for_ours(window: Window, own_base: ServedBase, tmp_path: Path) -> None:
    paired(window, own_base)
    base_of(tmp_path / "other")
    shutil.copytree(own_base.folder / "authority", tmp_path / "other" / "authority")
    other = ServedBase(tmp_path / "other")
    own_base.stop()
    other.start()
    told = run(window, A_SESSION + "await device.addAddress(given.address); return device.handIn()", address=other.address())
    other.stop()
    assert told["error"]["code"] == "unreachable" and other.entries() == []


@pytest.mark.parametrize("engine", ["chromium"], indirect=True)
def test_a_base_put_back_from_an_older_copy_gets_everything_again(window: Window, own_base: ServedBase, tmp_path: Path) -> None:
    paired(window, own_base)
    run(window, A_SESSION + "return device.handIn()")
    shutil.copytree(own_base.folder, tmp_path / "copy")
    run(window, "const [{session}] = await device.sessions(); " + ROW_3 + "return device.handIn()")
    own_base.stop()
    shutil.rmtree(own_base.folder)
    (tmp_path / "copy").rename(own_base.folder)
    own_base.start()
    told = run(window, "await device.addAddress(given.address); return device.handIn()", address=own_base.address())
    assert told["entries"]["sent"] == 1
    assert tags(own_base, window) == {"B1": 1, "B2": 1, "B3": 1}


def test_a_phone_put_back_from_a_backup_goes_on_in_a_new_session_and_nothing_is_lost(window: Window, base: ServedBase) -> None:
    paired(window, base)
    told, sessions = run(
        window,
        A_SESSION
        + BACKED_UP
        + """
        await device.handIn();
        const before = await backedUp();
        await put(3);
        await device.handIn();
        await putBack(before);  // as if row 3 had never been typed
        await put(4);
        return [await device.handIn(), await device.sessions()];
        """,
    )
    new, old = sessions
    assert "error" not in told and told["forked"] == [old["session"]]
    assert old["continued_in"] == new["session"] and (old["rows"], new["rows"]) == (2, 1)
    assert tags(base, window) == {"B1": 1, "B2": 1, "B3": 1, "B4": 1}
    assert run(window, "return device.onlyHere()") == NOTHING | {"rows_on_base": 3}


def test_once_a_session_was_continued_elsewhere_a_new_row_in_it_is_sent_to_the_new_one(
    window: Window, base: ServedBase
) -> None:
    paired(window, base)
    code, data, to = run(
        window,
        A_SESSION
        + BACKED_UP
        + """
        await device.handIn();
        const before = await backedUp();
        await put(3);
        await device.handIn();
        await putBack(before);
        await put(4);
        await device.handIn();
        const error = await put(5).catch((error) => error);
        return [error.code, error.data, (await device.sessions())[0].session];
        """,
    )
    assert (code, data) == ("session_continued", {"session": to})


def test_a_phone_that_was_turned_away_keeps_everything_and_hands_it_in_once_paired_again(
    window: Window, base: ServedBase
) -> None:
    paired(window, base)
    run(window, A_SESSION + "await device.handIn();")
    base.lose_devices()
    turned_away, left = run(
        window,
        "const [{session}] = await device.sessions();" + ROW_3 + "return [await device.handIn(), await device.onlyHere()]",
    )
    assert turned_away["error"]["code"] == "unpaired" and left["entries"] == 1
    paired(window, base)
    told, left = run(window, "return [await device.handIn(), await device.onlyHere()]")
    assert "error" not in told and left == NOTHING | {"rows_on_base": 3}
    assert tags(base, window) == {"B1": 1, "B2": 1, "B3": 1}


def test_a_line_that_the_base_refuses_is_kept_and_holds_up_no_other(window: Window, base: ServedBase) -> None:
    paired(window, base)
    told, [session] = run(
        window,
        A_SESSION
        + """
        const {mint} = await import("/entry/device/entry.js");
        const {openNotes} = await import("/entry/device/notes.js");
        await device.carryFile();
        const seq = 4;  // what only a lead may say
        const bad = await mint({kind: "site", device: device.pairing.device, session, seq, values: {site: session, name: "x"}});
        await openNotes().write(["entry"], (tx) => tx.objectStore("entry").put(bad));
        return [await device.handIn(), await device.sessions()];
        """,
    )
    assert told["entries"] == {"sent": 3, "held": 3, "refused": 1}
    assert len(session["refused"]) == 1 and session["refused"][0]["detail"]
    assert (session["on_base"], session["sealed"]) == (3, 4)


def test_who_may_only_look_on_is_told_so_and_loses_nothing(window: Window, base: ServedBase) -> None:
    paired(window, base, role="viewer")
    told, left = run(window, A_SESSION + "return [await device.handIn(), await device.onlyHere()]")
    assert told["error"]["code"] == "not_allowed" and left["entries"] == 3


def test_a_photo_damaged_on_the_phone_is_said_to_be(window: Window, base: ServedBase) -> None:
    paired(window, base)
    told, [session] = run(
        window,
        A_SESSION
        + """
        const {photo} = await device.addPhoto(session, {view: "slate", file: took(new Uint8Array(1000))});
        const {openPhotos} = await import("/entry/device/notes.js");
        const rotten = {photo, bytes: new Uint8Array(1000).fill(1).buffer, type: "image/jpeg"};
        await openPhotos().write(["bytes"], (tx) => tx.objectStore("bytes").put(rotten));
        return [await device.handIn({photos: true}), await device.sessions()];
        """,
    )
    assert told["photos"] == {"sent": 0, "left": 1} and "error" not in told
    assert [one["why"] for one in session["refused"]] == ["photo_damaged"]


def test_forgetting_the_base_is_refused_while_something_is_only_here(window: Window, base: ServedBase) -> None:
    paired(window, base)
    refused, forgotten, left = run(
        window,
        A_SESSION
        + """
        const refused = await device.forget().catch((error) => error.code);
        await device.handIn();
        await device.forget();
        return [refused, device.pairing, await device.sessions()];
        """,
    )
    assert (refused, forgotten, left) == ("only_here", None, [])


def test_a_copied_phone_loses_nothing_of_either(playwright: Playwright, port: int, tmp_path: Path, base: ServedBase) -> None:
    """Copied as phones are: the whole profile of the browser, while it does not run."""

    def on(profile: str, body: str, **named: Any) -> Counter[str]:
        with running("chromium", tmp_path / profile, playwright, base.authority) as engine:
            window = engine.window()
            window.open(f"http://127.0.0.1:{port}/")
            window.run(OPENED)
            if not window.run("return device.pairing"):
                paired(window, base)
            assert "error" not in run(window, body, **named)
            return tags(base, window)

    on("one", A_SESSION + "return device.handIn()")
    shutil.copytree(tmp_path / "one", tmp_path / "copy", symlinks=True)
    on("one", GOES_ON, tag="B3")
    of_copy = on("copy", GOES_ON, tag="B4")
    of_one = on("one", GOES_ON, tag="B5")
    assert of_copy == {"B1": 1, "B2": 1, "B3": 1, "B4": 1}  # of both, each in a place of its own or in the same one
    assert of_one["B5"] == 1


@pytest.mark.parametrize("engine", ["chromium"], indirect=True)
def test_too_many_wrong_codes_are_told_apart_from_a_wrong_one(window: Window, own_base: ServedBase) -> None:
    given = {"code": "00000000", "name": "Blue phone", "address": own_base.address()}
    codes = window.run(
        """
        const codes = [];
        while (codes.length < 30 && !codes.includes("busy")) codes.push(await device.pair(given).catch((error) => error.code));
        return codes;
        """,
        given,
    )
    assert codes[0] == "wrong_code" and codes[-1] == "busy"


def test_a_small_copy_comes_from_the_base_where_none_is_here(window: Window, base: ServedBase) -> None:
    paired(window, base)
    sizes = run(
        window,
        A_SESSION
        + """
        const canvas = document.createElement("canvas");
        [canvas.width, canvas.height] = [800, 600];
        canvas.getContext("2d").fillRect(100, 100, 300, 200);
        const file = await new Promise((done) => canvas.toBlob(done, "image/jpeg"));
        const {photo, small} = await device.addPhoto(session, {view: "slate", file});
        await device.handIn({photos: true});
        const {openPhotos} = await import("/entry/device/notes.js");
        await openPhotos().write(["small"], (tx) => tx.objectStore("small").clear());
        const fetched = await device.smallPhoto(photo);
        const kept = await openPhotos().read(["small"], (tx) => tx.objectStore("small").get(photo));
        const sides = await Promise.all([small, fetched].map((blob) => createImageBitmap(blob)));
        return [...sides.map(({width, height}) => width / height), kept.bytes.byteLength === fetched.size];
        """,
    )
    assert sizes == [pytest.approx(4 / 3, abs=0.02), pytest.approx(4 / 3, abs=0.02), True]


def test_the_register_is_fetched_once_and_again_only_where_it_changed(window: Window, base: ServedBase) -> None:
    paired(window, base)
    told, register = window.run("return [[await device.refreshRegister(), await device.refreshRegister()], device.register]")
    assert told == ["new", "same"]
    assert register["programme_name"] == "Amo Reef Nursery"


@pytest.mark.parametrize("engine", ["chromium"], indirect=True)
def test_more_lines_than_one_request_takes_are_handed_in_whole(window: Window, base: ServedBase) -> None:
    paired(window, base)
    told = run(
        window,
        A_SESSION
        + "await Promise.all(Array.from({length: 548}, (_, n) => put(n + 3)));"
        + "const seen = []; device.addEventListener('change', () => device.progress && seen.push(device.progress.done));"
        + "return [await device.handIn(), seen];",
    )
    assert told[0]["entries"] == {"sent": 551, "held": 551, "refused": 0}
    assert told[1] == [500, 551]
    assert tags(base, window).total() == 550
