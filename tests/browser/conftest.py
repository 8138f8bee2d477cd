"""A real server process and a real Chromium, on the sample programme with its boat day handed in."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from time import monotonic, sleep
from typing import Any

import pytest
from playwright.sync_api import Browser, Error, Page, Playwright, sync_playwright

ROOT = Path(__file__).parents[2]
CHROMIUM = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
ARGUMENTS = (
    "--no-sandbox",  # root, in a container
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
SERVING = """
import sys
from pathlib import Path
from fieldkit.base import Base
from fieldkit.server import serve
serve(Base(Path(sys.argv[1])), port=0, announce=lambda address: print(address, flush=True), open_browser=False)
"""

Open = Callable[..., Page]


def until(page: Page, holds: str, given: Any = None, *, seconds: float = 30) -> None:
    """Wait until an expression of the page, or a function of what is given, is true.

    Asked from here again and again: Playwright's own way of waiting evaluates a string in the page whenever it looks a second
    time, and the page's policy forbids that.
    """
    end = monotonic() + seconds
    while monotonic() < end:
        with suppress(Error):  # the page was just being loaded anew
            if page.evaluate(holds, given):
                return
        sleep(0.05)
    raise AssertionError(f"never came true: {holds}")


@pytest.fixture(scope="session")
def address(sample: Path) -> Iterator[str]:
    """Where the sample is served, without a slash at the end."""
    yield from _served(sample)


@pytest.fixture
def own_address(sample: Path, tmp_path: Path) -> Iterator[str]:
    """Where a copy of the sample is served that the test may write to. Asked for before `opened`, it outlives the windows."""
    shutil.copytree(sample, tmp_path / "base")
    yield from _served(tmp_path / "base")


def _served(folder: Path) -> Iterator[str]:
    call = [sys.executable, "-c", SERVING, str(folder)]
    with subprocess.Popen(call, cwd=ROOT, stdout=subprocess.PIPE, text=True) as server:
        try:
            assert server.stdout
            yield server.stdout.readline().strip().rstrip("/")
        finally:
            server.terminate()
            server.wait(10)


@pytest.fixture(scope="session")
def playwright() -> Iterator[Playwright]:
    """The one of this process: it takes no second beside it."""
    with sync_playwright() as running:
        yield running


@pytest.fixture(scope="session")
def browser(playwright: Playwright) -> Iterator[Browser]:
    if CHROMIUM is None:
        pytest.skip("no Chromium here")
    running = playwright.chromium.launch(executable_path=CHROMIUM, args=list(ARGUMENTS))
    yield running
    running.close()


@pytest.fixture
def opened(browser: Browser) -> Iterator[Open]:
    """Opens an address in a window of its own. A violation of the policy, or an error in the console, fails the test, but for
    what is `expected` in its words."""
    windows, complaints, foreseen = [], list[str](), list[str]()

    def open_(address: str, *, expected: str | None = None, **options: Any) -> Page:
        foreseen.extend([expected] if expected else [])
        windows.append(browser.new_context(**{"viewport": {"width": 1280, "height": 900}, "locale": "en-GB", **options}))
        page = windows[-1].new_page()
        page.on("console", lambda said: complaints.append(said.text) if said.type in ("error", "warning") else None)
        page.on("pageerror", lambda error: complaints.append(str(error)))
        page.on("requestfailed", lambda request: complaints.append(f"{request.url}: {request.failure}"))
        page.goto(address)
        return page

    yield open_
    for window in windows:
        window.close()
    assert [said for said in complaints if not any(words in said for words in foreseen)] == []
