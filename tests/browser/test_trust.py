"""A phone's first time, in a real Chromium: without the authority it is told so, with it the page works offline.

The authority stands in the browser's own store (an NSS database in a home of its own), as it would on a phone: nothing is
ignored.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Playwright

from fieldkit.access import Access
from fieldkit.server import Authority, Reach, create_app
from fieldkit.server.current import REACH
from fieldkit.server.listening import Listening
from fieldkit.server.tls import Vouching
from fieldkit.server.trust import create_trust_app
from tests.browser.conftest import ARGUMENTS, CHROMIUM
from tests.browser.test_pages import violations
from tests.support.programme import base_of

CERTUTIL = shutil.which("certutil")
PHONE = {"width": 360, "height": 740}

pytestmark = pytest.mark.skipif(not (CHROMIUM and CERTUTIL), reason="no Chromium or no certutil here")


@dataclass(frozen=True)
class Base:
    """A base on its three doors: over TLS, over plain http to the network, and to this computer."""

    folder: Path
    access: Access
    reach: Reach
    here: str
    """The address of the pages on this computer."""


@pytest.fixture(scope="module")
def at_work(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Base]:
    base = base_of(tmp_path_factory.mktemp("trust") / "base")
    access, authority = Access(base.folder), Authority.of(base.folder, base.programme_name)
    reach = Reach(authority, base.id, port=0, plain_port=0, addresses=lambda: ["127.0.0.1"])
    app = create_app(base, access)
    app.extensions[REACH] = reach
    secure = Listening("127.0.0.1", 0, app, Vouching(authority, lambda: (reach.name,)))
    plain = Listening("127.0.0.1", 0, create_trust_app(base, app, reach))
    here = Listening("127.0.0.1", 0, app)
    with ExitStack() as stack:
        for one in (secure, plain, here):
            one.begin()
            stack.callback(one.stop)
        reach.port, reach.plain_port = secure.port, plain.port
        yield Base(base.folder, access, reach, f"http://127.0.0.1:{here.port}")


Opened = Callable[..., BrowserContext]


@pytest.fixture
def phone(playwright: Playwright, at_work: Base, tmp_path: Path) -> Iterator[Opened]:
    """A phone that finds names ending in .local, and trusts the base or does not."""
    with ExitStack() as stack:

        def opened(*, trusts: bool) -> BrowserContext:
            return stack.enter_context(_window(playwright, _home(tmp_path, at_work.folder if trusts else None)))

        yield opened


def _home(folder: Path, trusted: Path | None) -> Path:
    store = folder / ".pki" / "nssdb"
    store.mkdir(parents=True)
    subprocess.run([str(CERTUTIL), "-N", "--empty-password", "-d", f"sql:{store}"], check=True)
    if trusted:
        file = str(trusted / "authority" / "authority.crt")
        subprocess.run([str(CERTUTIL), "-A", "-n", "base", "-t", "C,,", "-i", file, "-d", f"sql:{store}"], check=True)
    return folder


@contextmanager
def _window(playwright: Playwright, home: Path) -> Iterator[BrowserContext]:
    window = playwright.chromium.launch_persistent_context(
        home / "profile",
        executable_path=CHROMIUM,
        args=[*ARGUMENTS, "--host-resolver-rules=MAP *.local 127.0.0.1"],
        env={**os.environ, "HOME": str(home)},
        viewport=PHONE,
        locale="en-GB",
    )
    yield window
    window.close()


def test_a_phone_that_does_not_trust_the_base_is_told_so(at_work: Base, phone: Opened) -> None:
    page = phone(trusts=False).new_page()
    page.goto(at_work.reach.first_page())
    page.wait_for_selector("[data-state=unknown]:not([hidden])")
    assert page.locator("[data-state=trusted]").is_hidden() and violations(page) == []


def test_a_phone_that_trusts_the_base_is_led_to_its_name_with_its_code(at_work: Base, phone: Opened) -> None:
    page = phone(trusts=True).new_page()
    page.goto(at_work.reach.first_page(code="R2M0G0M2"))
    page.wait_for_selector("[data-state=trusted]:not([hidden])")
    assert page.locator("[data-state=trusted] a").get_attribute("href") == at_work.reach.page(code="R2M0G0M2")
    assert violations(page) == []


def test_scanning_one_code_a_phone_is_led_from_its_first_page_to_being_paired(at_work: Base, phone: Opened) -> None:
    page = phone(trusts=True).new_page()
    page.goto(at_work.reach.first_page(code=at_work.access.devices.invite("crew")))
    page.locator("[data-state=trusted] a").click()
    page.get_by_label("name", exact=False).fill("Green phone")
    page.locator("button[type=submit]").click()
    page.wait_for_url(lambda address: "#pair" not in address)
    assert "Green phone" in [device.name for device in at_work.access.devices.all()]


def test_trust_is_noticed_while_the_page_is_open(at_work: Base, phone: Opened, tmp_path: Path) -> None:
    """What is asked and answered is real; only what stands in the way at first is not the missing trust, but the network."""
    window = phone(trusts=True)
    page = window.new_page()
    page.route("https://**/hello", lambda route: route.abort())
    page.goto(at_work.reach.first_page())
    page.wait_for_selector("[data-state=unknown]:not([hidden])")
    page.unroute("https://**/hello")
    page.wait_for_selector("[data-state=trusted]:not([hidden])")


def test_by_name_over_tls_the_page_is_a_secure_context_whose_worker_runs(at_work: Base, phone: Opened) -> None:
    page = phone(trusts=True).new_page()
    page.goto(at_work.reach.page() + "/")
    assert page.evaluate("isSecureContext") and page.evaluate("navigator.serviceWorker.ready.then(found => !!found.active)")


def test_at_an_address_too(at_work: Base, phone: Opened) -> None:
    page = phone(trusts=True).new_page()
    page.goto(at_work.reach.page("127.0.0.1") + "/")
    assert page.evaluate("navigator.serviceWorker.ready.then(found => !!found.active)")


def test_without_trust_nothing_is_shown_over_tls(at_work: Base, phone: Opened) -> None:
    page = phone(trusts=False).new_page()
    with pytest.raises(Exception, match="ERR_CERT_AUTHORITY_INVALID"):
        page.goto(at_work.reach.page())


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_page_for_phones_is_for_everybody(at_work: Base, phone: Opened, scheme: str) -> None:
    at_work.access.devices.pair(at_work.access.devices.invite("crew"), "Blue phone", "x")
    page = phone(trusts=False).new_page()
    page.emulate_media(color_scheme=scheme)
    page.goto(at_work.here + "/reach")
    page.get_by_role("button", name="Make a code").click()
    page.wait_for_url("**/reach/code*")  # and its styles are there
    page.evaluate("document.querySelectorAll('details').forEach(it => it.open = true)")
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    assert violations(page) == []


def test_somebody_signs_in_and_out_over_the_network(at_work: Base, phone: Opened) -> None:
    at_work.access.people.add("Ana", "lead", "three wet words")
    page = phone(trusts=True).new_page()
    page.goto(f"https://{at_work.reach.name}:{at_work.reach.port}/reach")
    assert violations(page) == []
    page.get_by_label("Name").fill("Ana")
    page.get_by_label("Password").fill("three wet words")
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/reach")
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/sign-in")
