"""Over plain http the network gets one page, which leads a phone through trusting the base, and nothing that it could steal."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from cryptography import x509
from werkzeug.test import Client

from fieldkit.access import Access
from fieldkit.base import Base
from fieldkit.server import Authority, Reach, create_app
from fieldkit.server.serve import by_nearness
from fieldkit.server.trust import SYSTEMS, create_trust_app
from tests.server.asking import Page

ADDRESS = "192.168.8.2"
AWAY = {"base_url": f"http://{ADDRESS}:8440", "environ_overrides": {"REMOTE_ADDR": "192.168.8.20"}}


@pytest.fixture
def reach_of(base: Base) -> Callable[..., Reach]:
    authority = Authority.of(base.folder, base.programme_name)
    return lambda **more: Reach(authority, base.id, port=8443, plain_port=8440, addresses=lambda: [ADDRESS], **more)


@pytest.fixture
def asked(base: Base, reach_of: Callable[..., Reach]) -> Callable[..., Any]:
    """The plain port's answer to another device."""

    def ask(path: str, *, method: str = "GET", host: str | None = None, http: bool = False, **more: Any) -> Any:
        pages = create_app(base, Access(base.folder))
        trust = create_trust_app(base, pages, reach_of(hands_in_over_http=http))
        headers = {"Host": host} if host else {}
        return Client(by_nearness(pages, trust)).open(path, method=method, headers=headers, **AWAY, **more)

    return ask


def test_the_page_tells_the_fingerprint_of_the_certificate_that_it_gives(asked: Callable[..., Any], base: Base) -> None:
    given = x509.load_der_x509_certificate(asked("/fieldkit.crt").data)
    authority = Authority.of(base.folder, "")
    assert given == authority.certificate and authority.fingerprint in asked("/").text


def test_the_certificate_comes_as_what_phones_install(asked: Callable[..., Any]) -> None:
    assert asked("/fieldkit.crt").content_type == "application/x-x509-ca-cert"


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_system_has_its_steps_in_both_languages(asked: Callable[..., Any], language: str) -> None:
    page = Page(asked(f"/?lang={language}").text)
    assert [one.get("data-system") for one in page.all("details")] == list(SYSTEMS)
    assert len(page.all("li")) >= 3 * len(SYSTEMS)


def test_the_lasting_name_is_asked_before_the_address_of_today(
    asked: Callable[..., Any], reach_of: Callable[..., Reach]
) -> None:
    (check,) = (one for one in Page(asked("/").text).all("section") if "data-origins" in one)
    assert check["data-origins"] == f"https://{reach_of().name}:8443 https://{ADDRESS}:8443"


@pytest.mark.parametrize("host", ["stranger.example", "a@b", "[", "192.168.8.2:x"])
def test_nobody_is_led_to_a_name_of_a_stranger(asked: Callable[..., Any], host: str) -> None:
    answer = asked("/", host=host)
    assert "stranger" not in answer.text and answer.status_code in (200, 400)


@pytest.mark.parametrize("path", ["/days", "/matters", "/reach", "/sign-in", "/enter/", "/api/v1/hello", "/api/v1/pair"])
@pytest.mark.parametrize("method", ["GET", "POST"])
def test_nothing_else_is_there(asked: Callable[..., Any], path: str, method: str) -> None:
    assert asked(path, method=method).status_code == 404


def test_where_the_lead_allows_it_notes_can_be_handed_in_and_pages_are_still_away(asked: Callable[..., Any]) -> None:
    codes = {path: asked(path, http=True).status_code for path in ("/enter/", "/api/v1/hello", "/days", "/matters", "/reach")}
    assert codes == {"/enter/": 200, "/api/v1/hello": 200, "/days": 404, "/matters": 404, "/reach": 404}


def test_the_limits_of_plain_http_are_told_with_it(asked: Callable[..., Any]) -> None:
    assert ("unencrypted" in asked("/", http=True).text, "unencrypted" in asked("/").text) == (True, False)


def test_this_computer_still_sees_the_pages(base: Base, reach_of: Callable[..., Reach]) -> None:
    pages = create_app(base, Access(base.folder))
    plain = Client(by_nearness(pages, create_trust_app(base, pages, reach_of())))
    assert plain.get("/days", environ_overrides={"REMOTE_ADDR": "127.0.0.1"}).status_code == 200


def test_nothing_runs_on_it_that_is_not_a_file_of_ours(asked: Callable[..., Any]) -> None:
    policy = asked("/").headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy and "script-src 'self'" in policy and "unsafe" not in policy
