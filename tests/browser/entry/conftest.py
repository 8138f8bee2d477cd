"""The entry page as a crew meets it: a real base, served; real phones, each a window of its own, paired with a real code."""

from __future__ import annotations

import shutil
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Locator, Page, expect

from fieldkit.access import CREW, Access
from fieldkit.base import Base
from fieldkit.ledger.entry import Entry, read_line
from tests.browser.conftest import ROOT, SERVING, until

PHONE = {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True, "device_scale_factor": 2}
LAPTOP = {"viewport": {"width": 1280, "height": 800}}
MONITORING = "Post-outplant monitoring"


class Shore:
    """A base that is served, can be stopped, and comes back at the same address."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._server: subprocess.Popen[str] | None = None
        with socket.socket() as free:  # one that is named can be listened on again at once
            free.bind(("127.0.0.1", 0))
            self._port = free.getsockname()[1]
        self.start()

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self._port}"

    def start(self, page: Path | None = None, other: str = "") -> None:
        """As another version would: `page` is a folder with its page, `other` what else differs in it, as a program."""
        serving = other + SERVING.replace("port=0", f"port={self._port}")
        if page:
            serving = (
                f"from pathlib import Path; from fieldkit.server import entry; entry.PAGE = Path({str(page)!r})\n{serving}"
            )
        call = [sys.executable, "-c", serving, str(self.folder)]
        self._server = subprocess.Popen(call, cwd=ROOT, stdout=subprocess.PIPE, text=True)
        assert self._server.stdout
        assert self._server.stdout.readline().strip() == f"{self.address}/"

    def stop(self) -> None:
        if self._server:
            self._server.terminate()
            self._server.communicate(timeout=10)
            self._server = None

    def code(self) -> str:
        return Access(self.folder).devices.invite(CREW)


@dataclass
class Phone:
    """A window with the entry page, and what a thumb does in it."""

    page: Page
    shore: Shore

    def open(self) -> Phone:
        self.page.goto(f"{self.shore.address}/enter/")
        self.page.locator("main .strip").wait_for()
        return self

    def pair(self) -> Phone:
        self.page.goto(f"{self.shore.address}/enter/#pair")
        self.page.locator("main.pair input").first.fill(self.shore.code())
        self.page.locator("main.pair input").nth(1).fill("blue phone")
        self.page.locator("main.pair button[type=submit]").click()
        self.page.locator("main.home").wait_for()
        until(self.page, "navigator.serviceWorker.controller !== null")
        return self

    def begin(self, site: str, *plots: str, protocol: str = MONITORING, recorder: str = "KT") -> Phone:
        """A new slate, as far as its first row."""
        page = self.page
        page.goto(f"{self.shore.address}/enter/#new")
        page.locator("main.head").wait_for()
        page.get_by_label("What is recorded").select_option(label=protocol)
        page.get_by_label("Site").select_option(label=site)
        for plot in plots:
            page.get_by_role("button", name=plot).click()
        page.get_by_label("Recorder").fill(recorder)
        page.get_by_role("button", name="Begin").click()
        page.locator(".in-hand").wait_for()
        return self

    def key(self, name: str, *, exact: bool = False) -> Locator:
        return self.page.get_by_role("button", name=name, exact=exact)

    @property
    def finish(self) -> Locator:
        """The large key at the thumb's side."""
        return self.page.locator(".foot .finish")

    @property
    def tag(self) -> Locator:
        return self.page.locator(".in-hand h2 .tag")

    @property
    def words(self) -> Locator:
        return self.page.locator(".in-hand > .words")

    def tap(self, *names: str) -> Phone:
        """Keys one after the other, each once the one before has done what it does."""
        for name in names:
            self.key(name, exact=True).click()
        return self

    def go_on(self) -> Phone:
        """Press the large key, and wait for the next row: a second press at once would be a drop of water."""
        before = self.tag.inner_text()
        self.finish.click()
        expect(self.page.locator(".in-hand h2 .tag, .finish-screen")).not_to_have_text(before)
        self.page.wait_for_timeout(310)
        return self

    def go_through(self) -> Phone:
        """The large key until no row is unread."""
        while self.page.locator(".in-hand").count():
            self.go_on()
        return self


ROWS = """async () => {
    const asked = (request) => new Promise((ok) => { request.onsuccess = () => ok(request.result); });
    const database = await asked(indexedDB.open("fieldkit notes"));
    const rows = await asked(database.transaction("draft").objectStore("draft").getAll());
    database.close();
    return rows.filter((row) => !row.dropped).map(({ values }) => values);
}"""


def noted(phone: Phone) -> list[dict[str, Any]]:
    """What lies on the phone's disk, without the ids of what it is about."""
    ids = ("plot", "coral", "genotype")
    return [{name: value for name, value in row.items() if name not in ids} for row in phone.page.evaluate(ROWS)]


def handed_in(shore: Shore, recorder: str) -> list[Entry]:
    """What the base holds of the sessions of a recorder, in their order."""
    with Base(shore.folder).view() as view:
        entries = [read_line(line) for _, line in view.ledger.lines_after(0, 1_000_000)]
    sessions = {one.session for one in entries if one.kind == "session" and one.values.get("recorder") == recorder}
    return sorted((one for one in entries if one.session in sessions), key=lambda one: one.seq)


Phones = Callable[..., Phone]


@pytest.fixture(scope="session")
def shore(sample: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shore]:
    folder = tmp_path_factory.mktemp("shore") / "base"
    shutil.copytree(sample, folder)
    served = Shore(folder)
    yield served
    served.stop()


@pytest.fixture
def own_shore(sample: Path, tmp_path: Path) -> Iterator[Shore]:
    """A base of the test's own, to stop and start again."""
    shutil.copytree(sample, tmp_path / "base")
    served = Shore(tmp_path / "base")
    yield served
    served.stop()


def _complains(said: ConsoleMessage) -> bool:
    """Whether a page says that something is wrong: not where a photo was noted whose bytes no phone has handed in yet."""
    is_photo_out = " 404 " in said.text and "/api/v1/photos/" in said.location["url"]
    return said.type in ("error", "warning") and not is_photo_out


@contextmanager
def phones_of(browser: Browser, shore: Shore) -> Iterator[Phones]:
    """Makes phones. A violation of the policy, or an error in the console, fails the test, but for what is `expected`."""
    windows, complaints, foreseen = [], list[str](), list[str]()

    def make(*, expected: str | None = None, at: Shore = shore, **options: Any) -> Phone:
        foreseen.extend([expected] if expected else [])
        windows.append(browser.new_context(**{**PHONE, "locale": "en-GB", **options}))
        page = windows[-1].new_page()
        page.on("console", lambda said: complaints.append(said.text) if _complains(said) else None)
        page.on("pageerror", lambda error: complaints.append(error.stack or str(error)))
        return Phone(page, at)

    yield make
    for window in windows:
        window.close()
    assert [said for said in complaints if not any(words in said for words in foreseen)] == []


@pytest.fixture
def phones(browser: Browser, shore: Shore) -> Iterator[Phones]:
    with phones_of(browser, shore) as made:
        yield made


@pytest.fixture
def phone(phones: Phones) -> Phone:
    """A paired phone on its first screen."""
    return phones().pair()
