"""Handing in where requests go wrong: nothing is lost, nothing twice, and what stopped it is said."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Playwright

from tests.browser.device.conftest import EMPTIED, HEAD, OPENED
from tests.browser.device.faulty_line import LOST, Fault, faulty_line
from tests.browser.device.served_base import ServedBase
from tests.browser.device.windows import Engine, Window, running

A_SESSION = """
    const session = await device.startSession(given.head);
    for (let n = 1; n <= 8; n += 1) {
      await device.putRow(session, {kind: "observation", order: n, values: {tag: `B${n}`, status: "alive"}});
    }
    const noise = crypto.getRandomValues(new Uint8Array(60_000));
    await device.addPhoto(session, {view: "slate", file: new File([noise], "a.jpg", {type: "image/jpeg"})});
"""


@pytest.fixture(scope="module")
def engine(playwright: Playwright, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Engine]:
    with running("chromium", tmp_path_factory.mktemp("profile"), playwright) as found:
        yield found


@pytest.fixture
def window(tab: Window, port: int) -> Window:
    tab.open(f"http://127.0.0.1:{port}/")
    tab.run(EMPTIED + OPENED)
    return tab


def handed_in(window: Window, base: ServedBase, fault: Fault) -> tuple[dict[str, Any], dict[str, Any], Counter[str]]:
    """What came of handing in over a faulty line, what is only here afterwards, and how often each coral is on the base."""
    with faulty_line(base.pages, fault) as address:
        given = {"code": base.invite(), "name": "Blue phone", "address": address}
        window.run("await device.pair(given)", given)
        told, left, session = window.run(
            A_SESSION + "return [await device.handIn({photos: true}), await device.onlyHere(), session]", {"head": HEAD}
        )
    said = [entry.values["tag"] for entry in base.entries() if entry.session == session and entry.kind == "observation"]
    return told, left, Counter(said)


ALL = Counter({f"B{n}": 1 for n in range(1, 9)})


def once(path: str, status: int) -> Fault:
    """Strikes the first request of a path."""
    left = [status]
    return lambda _method, asked, _length: left.pop() if asked.startswith(path) and left else None


@pytest.mark.parametrize("path", ["have", "lack", "entries", "photos/lack", "photos/"])
@pytest.mark.parametrize("status", [503, LOST], ids=["come back later", "the answer is lost"])
def test_what_failed_once_is_done_again_and_nothing_twice(window: Window, base: ServedBase, path: str, status: int) -> None:
    told, left, on_base = handed_in(window, base, once(path, status))
    assert "error" not in told
    assert (left["entries"], left["photos"], on_base) == (0, 0, ALL)


@pytest.mark.parametrize(("most", "sent"), [(1500, 10), (100, 0)], ids=["several lines fit", "no line fits"])
def test_a_request_that_is_too_large_is_halved_and_a_line_that_is_alone_is_marked(
    window: Window, base: ServedBase, most: int, sent: int
) -> None:
    told, left, _ = handed_in(window, base, lambda _method, path, length: 413 if path == "entries" and length > most else None)
    [session] = window.run("return device.sessions()")
    assert told["entries"] == {"sent": sent, "held": sent, "refused": 10 - sent}
    assert (left["entries"], len(session["refused"])) == (10 - sent, 10 - sent)


@pytest.mark.parametrize(
    ("status", "code"), [(507, "base_full"), (401, "unpaired"), (403, "not_allowed"), (429, "busy"), (500, "base_trouble")]
)
def test_what_stopped_it_is_said_and_everything_stays(window: Window, base: ServedBase, status: int, code: str) -> None:
    told, left, on_base = handed_in(window, base, lambda _method, path, _length: status if path == "entries" else None)
    assert (told["error"]["code"], told["error"]["status"]) == (code, status)
    assert (left["entries"], left["photos"], on_base) == (10, 1, {})


def test_a_full_base_keeps_the_notes_and_says_that_photos_do_not_fit(window: Window, base: ServedBase) -> None:
    told, left, on_base = handed_in(window, base, lambda method, _path, _length: 507 if method == "PATCH" else None)
    assert told["error"]["code"] == "base_full" and told["photos"] == {"sent": 0, "left": 1}
    assert (left["entries"], left["photos"], on_base) == (0, 1, ALL)


def test_who_stops_a_hand_in_is_obeyed(window: Window, base: ServedBase) -> None:
    with faulty_line(base.pages, lambda _method, path, _length: 503 if path == "have" else None) as address:
        window.run("await device.pair(given)", {"code": base.invite(), "name": "Blue phone", "address": address})
        told = window.run(
            A_SESSION
            + "const stop = new AbortController(); setTimeout(() => stop.abort(), 300);"
            + "return device.handIn({signal: stop.signal})",
            {"head": HEAD},
        )
    assert told["error"]["code"] == "stopped"
