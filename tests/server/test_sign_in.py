"""Over the network people sign in, and see and do what their role covers; whoever sits at the laptop need not."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from fieldkit.access import Access
from fieldkit.base import Base
from fieldkit.server import create_app
from fieldkit.server.visitor import EVERYBODYS, READERS
from tests.server.asking import Page, token_of

AWAY = "https://fieldkit-ab12.local:8443"
WORDS = "three wet words"


class Browser:
    """A browser somewhere in the boat's network."""

    def __init__(self, client: FlaskClient) -> None:
        self._client = client

    def get(self, path: str) -> TestResponse:
        return self._client.get(path, base_url=AWAY)

    def post(self, path: str, form: str, **fields: Any) -> TestResponse:
        """Send a form as it stands on the page `form`."""
        sent = {"token": token_of(self.get(form).text), **fields}
        return self._client.post(path, data=sent, base_url=AWAY, headers={"Origin": AWAY})

    def sign_in(self, name: str, password: str = WORDS, **fields: Any) -> TestResponse:
        return self.post("/sign-in", "/sign-in", name=name, password=password, **fields)


@pytest.fixture(scope="module")
def three_people(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a lead, a viewer and one of the crew: to hash a password takes its time, and is meant to."""
    folder = tmp_path_factory.mktemp("people")
    for name, role in (("Lea", "lead"), ("Vic", "viewer"), ("Cru", "crew")):
        Access(folder).people.add(name, role, WORDS)
    return folder


@pytest.fixture
def access(base: Base, three_people: Path) -> Access:
    shutil.copy(three_people / "access.db", base.folder)
    return Access(base.folder)


@pytest.fixture
def browser(base: Base, access: Access) -> Browser:
    return Browser(create_app(base, access).test_client())


@pytest.mark.parametrize("path", ["/days", "/matters", "/survival", "/agreement", "/reach", "/nowhere", "/photos/" + "a" * 64])
def test_nobody_sees_a_page_without_signing_in(browser: Browser, path: str) -> None:
    answer = browser.get(path)
    assert (answer.status_code, answer.headers["Location"].startswith("/sign-in?then=")) == (303, True)


def test_signing_in_leads_to_where_one_wanted_to_go(browser: Browser) -> None:
    answer = browser.sign_in("Vic", then="/survival?by=site")
    assert (answer.status_code, answer.headers["Location"]) == (303, "/survival?by=site")
    assert browser.get("/survival").status_code == 200


@pytest.mark.parametrize("then", ["https://stranger.example/", "//stranger.example", "/\\stranger.example", "days", ""])
def test_signing_in_leads_to_no_other_site(browser: Browser, then: str) -> None:
    assert browser.sign_in("Vic", then=then).headers["Location"] == "/days"


def test_the_cookie_is_for_this_base_over_tls_alone_and_for_no_script(browser: Browser) -> None:
    cookie = browser.sign_in("Vic").headers["Set-Cookie"]
    assert cookie.startswith("__Host-sign_in=") and "Domain" not in cookie
    assert [word for word in ("HttpOnly", "Secure", "SameSite=Strict", "Path=/") if word not in cookie] == []


def test_a_wrong_password_is_told_and_leads_nowhere(browser: Browser) -> None:
    answer = browser.sign_in("Vic", "three dry words")
    assert (answer.status_code, "do not belong together" in answer.text, "Set-Cookie" in answer.headers) == (403, True, False)


def test_guessing_ends(browser: Browser) -> None:
    for _ in range(10):
        browser.sign_in("Vic", "three dry words")
    answer = browser.sign_in("Vic")
    assert (answer.status_code, "Too many tries" in answer.text) == (429, True)


READS = [
    ("Lea", {"/days", "/matters", "/survival", "/agreement", "/reach"}),
    ("Vic", {"/days", "/matters", "/survival", "/agreement"}),
    ("Cru", {"/days"}),
]


@pytest.mark.parametrize(("name", "pages"), READS)
def test_everybody_sees_what_their_role_covers(browser: Browser, name: str, pages: set[str]) -> None:
    browser.sign_in(name)
    every = READS[0][1]
    assert {path for path in every if browser.get(path).status_code == 200} == pages
    assert {path for path in every if browser.get(path).status_code == 403} == every - pages


def test_every_subject_says_who_may_read_it(base: Base) -> None:
    """A new page is the lead's alone until somebody thought of it."""
    assert create_app(base).blueprints.keys() == READERS.keys() | EVERYBODYS


@pytest.mark.parametrize(("name", "pages"), READS)
def test_a_page_links_to_no_page_that_its_reader_may_not_see(browser: Browser, name: str, pages: set[str]) -> None:
    browser.sign_in(name)
    links = {str(one["href"]) for one in Page(browser.get("/days").text).all("a") if "aria-label" not in one}
    assert {link for link in links if link in READS[0][1]} == pages


def first_button(page: str) -> tuple[str, str]:
    """Where the first card's form goes, and what its first button says."""
    taken = Page(page)
    form = next(str(one["action"]) for one in taken.all("form") if "/answer" in str(one["action"]))
    return form, next(str(one["value"]) for one in taken.all("button") if one.get("name") == "says")


def rulings(base: Base) -> list[str | None]:
    with base.view() as view:
        said = view.ledger.of_kind("ruling")
        return [view.sessions()[entry.session].session.values.get("recorder") for entry in said]


def test_a_lead_rules_under_the_name_by_which_they_signed_in(browser: Browser, base: Base) -> None:
    browser.sign_in("Lea")
    form, says = first_button(browser.get("/matters").text)
    answer = browser.post(form, "/matters", says=says, who="somebody else")
    assert (answer.status_code, rulings(base)) == (303, ["Lea"])


def test_nobody_else_rules(browser: Browser, base: Base, client: FlaskClient) -> None:
    form, says = first_button(client.get("/matters").text)
    browser.sign_in("Vic")
    assert browser.post(form, "/matters", says=says, who="Lea").status_code == 403
    assert rulings(base) == []


def test_a_viewer_is_shown_nothing_to_press(browser: Browser) -> None:
    browser.sign_in("Vic")
    taken = Page(browser.get("/matters").text)
    assert [one["action"] for one in taken.all("form")] == ["/sign-out"]


@pytest.mark.parametrize("path", ["/reach/code", "/reach/wifi", "/reach/revoke"])
def test_nobody_but_a_lead_decides_who_may_come(browser: Browser, access: Access, path: str) -> None:
    browser.sign_in("Vic")
    assert browser.post(path, "/days", role="lead", device="x", name="x").status_code == 403


def test_signing_out_is_everybodys(browser: Browser) -> None:
    browser.sign_in("Cru")
    assert browser.post("/sign-out", "/days").status_code == 303
    assert browser.get("/days").status_code == 303


def test_whoever_was_removed_is_out_with_the_next_page(browser: Browser, access: Access) -> None:
    browser.sign_in("Vic")
    access.people.remove("Vic")
    assert browser.get("/days").status_code == 303


def test_a_form_of_one_browser_is_worth_nothing_in_another(base: Base, access: Access) -> None:
    app = create_app(base, access)
    mine, other = Browser(app.test_client()), Browser(app.test_client())
    mine.sign_in("Lea")
    other.sign_in("Vic")
    token = token_of(other.get("/days").text)
    answer = mine._client.post("/reach/code", data={"token": token, "role": "lead"}, base_url=AWAY, headers={"Origin": AWAY})
    assert answer.status_code == 403


def test_over_plain_http_only_this_computer_is_answered(client: FlaskClient) -> None:
    """The server passes nobody else on to the pages; if it did, they would be turned away here."""
    answer = client.get("/days", environ_overrides={"REMOTE_ADDR": "192.168.8.20"})
    assert answer.status_code == 403


def test_nobody_without_a_place_at_the_laptop_is_signed_in_by_their_address(client: FlaskClient) -> None:
    answer = client.get("/days", base_url=AWAY, environ_overrides={"REMOTE_ADDR": "127.0.0.1"})
    assert answer.status_code == 303


def test_exact_places_and_names_are_the_leads_to_take_out(browser: Browser) -> None:
    browser.sign_in("Vic")
    page = Page(browser.get("/export").text)
    assert "exact" not in [one["value"] for one in page.all("input") if one.get("name") == "places"]
    assert [one for one in page.all("input") if one.get("name") == "people"] == []
    assert browser.get("/export/file?form=geojson&places=exact").status_code == 400
    assert browser.get("/export/file?form=csv&people=yes").status_code == 403
    assert browser.get("/export/file?form=csv").status_code == 200
