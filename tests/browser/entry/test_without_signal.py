"""Without signal, and with a newer page in the middle of a slate: the page opens, what was entered is there, nobody is
interrupted."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import expect

from fieldkit.base import Base
from fieldkit.protocol import read_protocol
from fieldkit.shipped import SAMPLE_SURVEYS, STATIC
from tests.browser.conftest import until
from tests.browser.entry.conftest import Phone, Phones, Shore, handed_in, noted

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


def test_what_was_done_last_is_taken_back_after_a_reload_too(phone: Phone) -> None:
    phone.begin(SITE, PLOT).go_on()
    second = phone.tag.inner_text()
    phone.tap("Note")
    phone.page.get_by_role("textbox").press_sequentially("loose")
    expect(phone.words).to_contain_text("loose")
    phone.page.reload()
    phone.tap("Undo")
    expect(phone.tag).to_have_text(second)
    expect(phone.words).to_have_text("not read yet")
    phone.page.wait_for_timeout(310)
    phone.tap("Undo")
    expect(phone.key("Undo")).to_be_disabled()
    assert noted(phone) == []


def test_the_end_of_a_dive_is_taken_back_as_one_after_a_reload_too(phone: Phone) -> None:
    phone.begin(SITE, PLOT).go_on().tap("More").key("Dive ended here").click()
    phone.page.locator(".finish-screen").wait_for()
    phone.page.reload()
    phone.tap("Back to the slate", "Undo")
    expect(phone.page.locator(".folded.not_searched")).to_have_count(0)
    assert len(noted(phone)) == 1


def test_what_was_sealed_is_corrected_and_not_taken_back_after_a_reload(phone: Phone) -> None:
    phone.begin(SITE, PLOT, recorder="QA").go_on().tap("More", "Finish the slate", "The slate is done: hand in")
    phone.page.locator(".safe").wait_for()
    phone.page.go_back()
    phone.page.reload()
    phone.tap("Back to the slate")
    expect(phone.key("Undo")).to_be_disabled()


def test_the_strip_says_what_is_only_here(phone: Phone) -> None:
    phone.begin(SITE, PLOT).go_on().go_on()
    expect(phone.page.locator(".foot-strip")).to_have_text("Only here: 2 rows · on the base: 0")


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


# A base of tomorrow: its answers say more, and its protocols have a field of a kind that no page of today knows.
OF_TOMORROW = """
import json, flask
as_today = flask.Flask.process_response
def says_more(app, response):
    response = as_today(app, response)
    if flask.request.path.startswith("/api/") and response.mimetype == "application/json":
        told = {**response.get_json(), "of_tomorrow": {"n": 1}}
        for protocol in told.get("protocols", []):
            dial = {"name": "glow", "of": "coral", "kind": "dial", "label": {"en": "Glow"}, "turns": 3}
            protocol["fields"] = [*protocol["fields"], dial]
        response.set_data(json.dumps(told))
    return response
flask.Flask.process_response = says_more
"""


def test_an_old_page_goes_on_with_a_newer_base(phone: Phone) -> None:
    phone.begin(SITE, PLOT).go_on()
    phone.shore.stop()
    phone.shore.start(other=OF_TOMORROW)
    phone.tap("More", "Finish the slate", "The slate is done: hand in")
    expect(phone.page.locator(".safe")).to_be_visible()
    phone.begin(SITE, PLOT).go_on()
    expect(phone.key("Glow")).to_have_count(0)
    expect(phone.page.locator(".folded.read .words")).to_contain_text("Alive, nothing wrong seen")


def test_a_newer_page_hands_in_to_an_older_base(phone: Phone, newer: Path) -> None:
    sealing = (newer / "device" / "sealing.js").read_text("utf-8")
    sealing = sealing.replace("...values, row }", '...values, row, glow: "3" }')
    sealing = sealing.replace("...head, role", '...head, tide: "low", role')
    (newer / "device" / "sealing.js").write_text(sealing, "utf-8")
    phone.shore.stop()
    phone.shore.start(newer)
    phone.page.reload()
    until(phone.page, "getComputedStyle(document.documentElement).getPropertyValue('--paper').trim() === '#fffefa'")
    phone.begin(SITE, PLOT, recorder="ZQ").go_on().tap("More", "Finish the slate", "The slate is done: hand in")
    expect(phone.page.locator(".safe")).to_be_visible()
    said = {one.kind: one.values for one in handed_in(phone.shore, "ZQ")}
    assert (said["session"]["tide"], said["observation"]["glow"], said["observation"]["status"]) == ("low", "3", "alive")


def test_an_example_picture_is_shown_and_once_seen_also_without_signal(phones: Phones, own_shore: Shore) -> None:
    own_shore.stop()
    text = (SAMPLE_SURVEYS / "protocols" / "post_outplant_monitoring.toml").read_text("utf-8")
    text = text.replace("version = 1", "version = 2", 1)
    with_picture = text.replace('name = "bleaching"', 'name = "bleaching"\nexample = "pale"', 1)
    Base(own_shore.folder).adopt(read_protocol(with_picture.encode()))
    (own_shore.folder / "examples").mkdir()
    Image.new("RGB", (40, 30)).save(own_shore.folder / "examples" / "pale.png")
    own_shore.start()
    phone = phones(at=own_shore, expected=NO_SERVER).pair().begin(SITE, PLOT).tap("Bleaching")
    seen = "document.querySelector('img.example')?.naturalWidth === 40"
    until(phone.page, seen)
    own_shore.stop()
    phone.page.reload()
    phone.tap("Bleaching")
    until(phone.page, seen)
    assert "Bleaching" in (phone.page.locator("img.example").get_attribute("alt") or "")


def test_the_worker_never_answers_for_the_api(phone: Phone) -> None:
    phone.shore.stop()
    assert phone.page.evaluate("fetch('/api/v1/hello').then(() => 'answered', () => 'gone')") == "gone"
    assert phone.page.evaluate("caches.keys().then(names => names.length)") == 1
