"""How the slate feels under a thumb: what the page weighs, how long it takes to open without signal, how long a tap takes, and
how many taps a coral costs.

    .venv/bin/python scripts/bench/entry_slate.py            # some two minutes; needs Chromium

A real base is served from the sample programme, a phone of 360 x 740 paired with it; then a plot of 300 corals is put into the
register that the phone keeps, and the slate is entered by real taps with the processor slowed four times. What Chromium calls
four times is more on some machines (5.5 on two shared cores), so the rate is tuned until a loop takes four times as long as
without (the reference of this run); what the loop took before and after the taps is told beside
them, and so is what the disk and two frames take at least.
"""

from __future__ import annotations

import argparse
import shutil
import socket
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from playwright.sync_api import BrowserContext, CDPSession, Page, expect, sync_playwright

from fieldkit.access import CREW, Access
from fieldkit.base import Base
from fieldkit.server import entry
from fieldkit.shipped import SAMPLE_SURVEYS

CORALS = 300
TAPPED = 60  # of them, while the time of each tap is taken
SLOWED = 4  # times, as for a phone of some years
STARTS = 7
DROP_MS = 310  # after which a tap on the same key is no drop of water any more
PROTOCOL, SITE = "Post-outplant monitoring", "Ray Steps"
PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True, "locale": "en-GB"}
CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"]

SERVING = """
import sys
from pathlib import Path
from fieldkit.base import Base
from fieldkit.server import serve
serve(Base(Path(sys.argv[1])), port=int(sys.argv[2]), announce=lambda a: print(a, flush=True), open_browser=False)
"""
KEPT_BY_WORKER = """new Promise((done) => {
    if (navigator.serviceWorker.controller) done();
    else navigator.serviceWorker.addEventListener("controllerchange", () => done());
})"""
LARGE_PLOT = """async n => {
    const asked = request => new Promise(ok => { request.onsuccess = () => ok(request.result); });
    const database = await asked(indexedDB.open("fieldkit notes"));
    const store = () => database.transaction("keep", "readwrite").objectStore("keep");
    const kept = await asked(store().get("register"));
    const site = kept.register.sites.find(one => one.name === "Ray Steps").site;
    const id = i => "0191af9a-2300-7000-8000-" + String(i).padStart(12, "0");
    const genotypes = kept.register.genotypes.map(one => one.genotype);
    const corals = Array.from({ length: n }, (_, i) => ({ coral: id(i + 1), tag: "T" + (i + 1), position: String(i + 1),
        genotype: genotypes[i % 8], planted_on: "2025-03-10", last: null, photos: null }));
    kept.register.plots.push({ plot: id(9999), site, name: "LARGE", recorded_as: "tagged", corals });
    await asked(store().put(kept, "register"));
    database.close();
}"""
# From the release of the key until the next row is drawn: its tag has changed, and the page has done its work for the frame
# that shows it, so that a task comes to its turn (`taps`); and until the frame after that begins (`frames`).
TIMED = """() => {
    [window.taps, window.frames] = [[], []];
    const after = new MessageChannel();
    after.port1.onmessage = ({ data }) => window.taps.push(performance.now() - data);
    let released = 0;
    addEventListener("pointerup", event => { released = event.timeStamp; }, true);
    let before = null;
    new MutationObserver(() => {
        const tag = document.querySelector(".in-hand h2 .tag")?.textContent;
        if (tag === before || !released) return;
        before = tag;
        const from = released;
        requestAnimationFrame(() => {
            after.port2.postMessage(from);
            requestAnimationFrame(at => window.frames.push(at - from));
        });
    }).observe(document.body, { childList: true, subtree: true, characterData: true });
}"""
# What no page can be quicker than: a transaction that is forced to the disk, and two frames.
FLOOR = """async n => {
    const asked = request => new Promise(ok => { request.onsuccess = () => ok(request.result); });
    const opening = indexedDB.open("floor");
    opening.onupgradeneeded = () => opening.result.createObjectStore("row");
    const database = await asked(opening);
    const times = [];
    for (let i = 0; i < n; i++) {
        await new Promise(ok => setTimeout(ok, 200));
        const from = performance.now();
        const transaction = database.transaction("row", "readwrite", { durability: "strict" });
        transaction.objectStore("row").put({ tag: "B" + i, status: "alive", line: String(i) }, i);
        await new Promise(ok => { transaction.oncomplete = ok; });
        await new Promise(ok => requestAnimationFrame(() => requestAnimationFrame(ok)));
        times.push(performance.now() - from);
    }
    database.close();
    return times;
}"""
LOOP = """() => {
    const from = performance.now();
    let x = 0;
    for (let i = 0; i < 2e7; i++) x += i % 7;
    return performance.now() - from;
}"""


def main() -> None:
    argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter).parse_args()
    measure()


def measure() -> None:
    """Measure and tell."""
    sizes = {name: len(file.packed) for name, file in entry.files().items() if name.endswith((".js", ".mjs", ".css"))}
    print(f"script and style, packed: {sum(sizes.values()) / 1000:.1f} kB in {len(sizes)} files (at most 60)")
    with tempfile.TemporaryDirectory() as folder, phone(Path(folder)) as (window, page, server):
        slow = window.new_cdp_session(page)
        _taps(page, "at full speed")
        plain = _loop(page)
        rate = _tuned(page, slow, plain)
        before = _loop(page)
        _taps(page, "slowed")
        floor = page.evaluate(FLOOR, TAPPED)
        print(f"  the floor, one object put and two frames: {_told(floor)}")
        slowed = [loop / plain for loop in (before, _loop(page))]
        print(
            f"  Chromium's rate {rate:.2f}: a loop took {slowed[0]:.1f} times as long before these, {slowed[1]:.1f} times after"
        )
        _slow(slow, 1)
        print(f"taps a coral, healthy plot: {_taps_a_coral(page, healthy=True):.2f}")
        print(f"taps a coral, 15 % with findings: {_taps_a_coral(page, healthy=False):.2f} (at most 1.30)")
        server.terminate()
        server.wait(10)
        _starts(window, page.url.split("#")[0])


@contextmanager
def phone(folder: Path) -> Iterator[tuple[BrowserContext, Page, subprocess.Popen[str]]]:
    """A paired phone with a plot of 300 corals, and the base that it is paired with."""
    Base.join(folder / "base", SAMPLE_SURVEYS / "programme.zip")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    call = [sys.executable, "-c", SERVING, str(folder / "base"), str(port)]
    with subprocess.Popen(call, stdout=subprocess.PIPE, text=True) as server, sync_playwright() as playwright:
        assert server.stdout
        address = f"{server.stdout.readline().strip()}enter/"
        options: dict[str, Any] = {"executable_path": CHROMIUM, "args": ARGUMENTS, **PHONE}
        window = playwright.chromium.launch_persistent_context(folder / "profile", **options)
        page = window.pages[0]
        page.goto(f"{address}#pair")
        page.locator("main.pair input").first.fill(Access(folder / "base").devices.invite(CREW))
        page.locator("main.pair input").nth(1).fill("phone")
        page.locator("main.pair button[type=submit]").click()
        page.locator("main.home").wait_for()
        page.evaluate(KEPT_BY_WORKER)
        page.evaluate(LARGE_PLOT, CORALS)
        page.reload()
        yield window, page, server
        window.close()
        server.terminate()


def _begin(page: Page) -> None:
    page.goto(page.url.split("#")[0] + "#new")
    page.locator("main.head").wait_for()
    page.get_by_label("What is recorded").select_option(label=PROTOCOL)
    page.get_by_label("Site").select_option(label=SITE)
    page.get_by_role("button", name="LARGE").click()
    page.get_by_label("Recorder").fill("KT")
    page.get_by_role("button", name="Begin").click()
    page.locator(".in-hand").wait_for()


def _taps(page: Page, how: str) -> None:
    """All well, coral after coral: from the release of the key, past the disk, to the next row drawn."""
    _begin(page)
    page.evaluate(f"window.taps ? (taps.length = frames.length = 0) : ({TIMED})()")
    for _ in range(TAPPED):
        _tap(page, ".foot .finish")
        page.wait_for_timeout(DROP_MS + 200)
    print(f"release to stored and the next of {CORALS} rows drawn, {how}: {_told(page.evaluate('taps'))} (at most 100 slowed)")
    print(f"  until the frame after that begins: {_told(page.evaluate('frames'))}")


def _told(times: list[float]) -> str:
    worst = statistics.quantiles(times, n=20)[-1]
    return f"p50 {statistics.median(times):.0f} ms, p95 {worst:.0f} ms of {len(times)}"


def _taps_a_coral(page: Page, *, healthy: bool) -> float:
    """Twenty corals of which three show something, the way a plot does: one is gone, one is pale, one is loose."""
    corals, taps = 20, 0
    _begin(page)
    for number in range(corals):
        found = [] if healthy else {4: ["Missing"], 9: ["Bleaching", "Pale"], 14: ["Attachment", "Loose"]}.get(number, [])
        for name in found:
            page.get_by_role("button", name=name).first.tap()
            taps += 1
        tag = page.locator(".in-hand h2 .tag").inner_text()
        _tap(page, ".foot .finish")
        taps += 1
        expect(page.locator(".in-hand h2 .tag")).not_to_have_text(tag)
        page.wait_for_timeout(DROP_MS)
    return taps / corals


def _starts(window: BrowserContext, address: str) -> None:
    """Opened anew with the server gone: until the first screen is drawn."""
    times = []
    for _ in range(STARTS):
        page = window.new_page()
        _slow(window.new_cdp_session(page), SLOWED)
        page.goto(address)
        page.locator("main .strip").wait_for()
        times.append(page.evaluate("performance.getEntriesByName('drawn')[0].startTime"))
        page.close()
    print(f"opened without its server: median {statistics.median(times):.0f} ms, longest {max(times):.0f} ms (at most 1500)")


def _loop(page: Page) -> float:
    """Milliseconds of the loop, the median of some."""
    return statistics.median(page.evaluate(LOOP) for _ in range(9))


def _tuned(page: Page, session: CDPSession, plain: float) -> float:
    """The rate at which the loop takes `SLOWED` times as long; it is set."""
    rate = float(SLOWED)
    for _ in range(6):  # by half of what it is off, since single loops vary
        _slow(session, rate)
        rate = max(1.0, rate * (SLOWED / (_loop(page) / plain)) ** 0.5)
    _slow(session, rate)
    return rate


def _tap(page: Page, selector: str) -> None:
    box = page.locator(selector).bounding_box()
    assert box
    page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)


def _slow(session: CDPSession, times: float) -> None:
    session.send("Emulation.setCPUThrottlingRate", {"rate": times})


if __name__ == "__main__":
    main()
