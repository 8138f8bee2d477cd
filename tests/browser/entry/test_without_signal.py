"""Without signal, and with a newer page in the middle of a slate: the page opens, what was entered is there, nobody is
interrupted."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from playwright.sync_api import expect

from fieldkit.shipped import STATIC
from tests.browser.conftest import until
from tests.browser.entry.conftest import Phone, Phones, Shore, noted

SITE, PLOT = "Ray Steps", "RAY-11"
NO_SERVER = "ERR_CONNECTION_REFUSED"


@pytest.fixture
def phone(phones: Phones, own_shore: Shore) -> Phone:
    return phones(at=own_shore, expected=NO_SERVER).pair()


@pytest.fixture
def newer(tmp_path: Path) -> Path:
    """A state of the page that differs from ours in one colour."""
    folder = tmp_path / "entry"
    shutil.copytree(STATIC / "entry", folder)
    css = (folder / "page.css").read_text("utf-8")
    (folder / "page.css").write_text(css.replace("--paper: #fffdf7", "--paper: #fffefa"), "utf-8")
    return folder


def paper(phone: Phone) -> str:
    return str(phone.page.evaluate("getComputedStyle(document.documentElement).getPropertyValue('--paper')")).strip()


def versions(phone: Phone) -> str:
    return phone.page.locator(".versions").inner_text()


def test_the_page_opens_and_takes_a_whole_slate_with_the_server_gone(phone: Phone) -> None:
    phone.shore.stop()
    phone.page.reload()
    phone.begin(SITE, PLOT)
    for _ in range(9):
        phone.go_on()
    expect(phone.page.locator(".total")).to_contain_text("9 rows are entered")
    assert len(noted(phone)) == 9


def test_a_reload_in_the_middle_of_a_slate_loses_nothing_and_goes_on_where_it_stopped(phone: Phone) -> None:
    phone.begin(SITE, PLOT).go_on().go_on()
    third = phone.tag.inner_text()
    phone.shore.stop()
    phone.page.reload()
    expect(phone.tag).to_have_text(third)
    expect(phone.page.locator(".count")).to_have_text("2 of 9")


def test_the_strip_says_what_is_only_here(phone: Phone) -> None:
    phone.begin(SITE, PLOT).go_on().go_on()
    # Two rows, and the head of the session.
    expect(phone.page.locator(".foot-strip")).to_have_text("Only here: 3 · on the base: 0")


def test_page_and_worker_are_of_one_version_and_say_so(phone: Phone) -> None:
    page = phone.page.locator("meta[name=version]").get_attribute("content")
    expect(phone.page.locator(".versions")).to_contain_text(f"Page {page}, worker {page}")


def test_a_newer_page_waits_while_a_row_is_in_hand_and_takes_over_on_the_first_screen(phone: Phone, newer: Path) -> None:
    phone.begin(SITE, PLOT).go_on()
    phone.shore.stop()
    phone.shore.start(newer)
    phone.page.evaluate("navigator.serviceWorker.getRegistration().then(it => it.update())")
    until(phone.page, "navigator.serviceWorker.getRegistration().then(it => it.waiting !== null)")
    phone.tap("Bleaching").key("Pale").click()
    expect(phone.words).to_have_text("Alive; Bleaching: Pale")
    assert paper(phone) == "#fffdf7"
    phone.go_on()
    phone.page.evaluate("location.hash = ''")
    until(phone.page, "getComputedStyle(document.documentElement).getPropertyValue('--paper').trim() === '#fffefa'")
    phone.page.locator(".versions").wait_for()
    assert [row["bleaching"] for row in noted(phone)] == ["none", "pale"]


def test_a_newer_page_comes_whole_or_not_at_all(phone: Phone, newer: Path) -> None:
    worker = (newer / "worker.js").read_text("utf-8")
    # A list with a file that does not come, as when the base is ended in the middle.
    (newer / "worker.js").write_text(worker.replace("PAGE.files.map", '[...PAGE.files, "gone.js"].map'), "utf-8")
    before = versions(phone)
    phone.shore.stop()
    phone.shore.start(newer)
    phone.page.evaluate("navigator.serviceWorker.getRegistration().then(it => it.update()).catch(() => {})")
    phone.page.wait_for_timeout(1000)
    phone.page.reload()
    expect(phone.page.locator(".versions")).to_have_text(before)


def test_the_worker_never_answers_for_the_api(phone: Phone) -> None:
    phone.shore.stop()
    assert phone.page.evaluate("fetch('/api/v1/hello').then(() => 'answered', () => 'gone')") == "gone"
    assert phone.page.evaluate("caches.keys().then(names => names.length)") == 1
