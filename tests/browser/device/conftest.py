"""The device's own modules in three real browsers, one of each for all tests of a file."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Playwright

from tests.browser.device.served_base import ServedBase
from tests.browser.device.site import served
from tests.browser.device.windows import Engine, Window, running
from tests.support.programme import base_of

DEVICE, PROGRAMME = "0191af9a-2300-7000-8000-00000000000d", "0191af9a-2300-7000-8000-0000000000aa"

EMPTIED = """
    for (const name of ["fieldkit notes", "fieldkit photos"]) {
      await new Promise((done, failed) => {
        const request = indexedDB.deleteDatabase(name);
        request.onsuccess = done;
        request.onerror = failed;
      });
    }
"""
OPENED = """
    const { openDevice } = await import("/entry/device/device.js");
    globalThis.device = await openDevice();
"""
# As a base would have paired it, for what needs no base.
PAIRED = f"""
    const {{ openNotes }} = await import("/entry/device/notes.js");
    const pairing = {{device: "{DEVICE}", token: "t", role: "crew", base: "{PROGRAMME}", programme: "{PROGRAMME}",
      programme_name: "Nuvelako Reef Gardeners", name: "Blue phone", addresses: []}};
    await openNotes().write(["keep"], (tx) => tx.objectStore("keep").put(pairing, "pairing"));
"""
HEAD = {"protocol": "a5" * 32, "site": "0191af9a-2300-7000-8000-000000000051", "day": "2026-11-10", "recorder": "KT"}


@pytest.fixture(scope="session")
def port() -> Iterator[int]:
    with served() as found:
        yield found


@pytest.fixture(scope="module", params=["chromium", "firefox", "webkit"])
def engine(
    request: pytest.FixtureRequest, playwright: Playwright, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Engine]:
    with running(request.param, tmp_path_factory.mktemp("profile"), playwright) as found:
        yield found


@pytest.fixture(scope="module")
def tab(engine: Engine) -> Window:
    return engine.window()


@pytest.fixture(scope="session")
def base(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServedBase]:
    """A base at work, for all tests that leave it at work."""
    folder = tmp_path_factory.mktemp("first") / "base"
    base_of(folder)
    served_base = ServedBase(folder)
    served_base.start()
    yield served_base
    served_base.stop()


@pytest.fixture
def window(tab: Window, port: int) -> Window:
    """A page with `device`, paired, on which nothing was noted yet."""
    tab.open(f"http://127.0.0.1:{port}/")
    tab.run(EMPTIED + PAIRED + OPENED)
    return tab
