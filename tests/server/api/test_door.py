"""Who may ask the API, who may read its answers, and how a problem is told."""

from __future__ import annotations

import pytest
from flask.testing import FlaskClient

from fieldkit.access import Access
from fieldkit.base import Base

HELLO, PAIR = "/api/v1/hello", "/api/v1/pair"


def test_hello_says_which_base_this_is(client: FlaskClient, base: Base) -> None:
    said = client.get(HELLO).json
    assert said and (said["wire"], said["base"], said["programme_name"]) == (1, base.id, "Amo Reef Nursery")


def test_a_code_is_exchanged_for_a_token(client: FlaskClient, access: Access) -> None:
    said = client.post(PAIR, json={"code": access.devices.invite("crew"), "name": "Blue phone"}).json
    assert said and (device := access.device_of(said["token"])) and device.id == said["device"]


def test_a_wrong_code_is_refused_in_the_language_asked_for(client: FlaskClient) -> None:
    answer = client.post(PAIR, json={"code": "nothing", "name": "x"}, headers={"Accept-Language": "es"})
    assert answer.status_code == 403 and answer.json and "no está abierto" in answer.json["detail"]


def test_guessing_is_told_when_to_come_back(client: FlaskClient) -> None:
    codes = [client.post(PAIR, json={"code": "nothing", "name": "x"}) for _ in range(11)]
    assert (codes[-2].status_code, codes[-1].status_code) == (403, 429)
    assert 0 < int(codes[-1].headers["Retry-After"]) <= 900


@pytest.mark.parametrize(("path", "status"), [("/api/v1/nothing", 404), (PAIR, 405), ("/api/v1/openapi.json/x", 404)])
def test_problems_are_told_as_rfc_9457_has_them(client: FlaskClient, path: str, status: int) -> None:
    answer = client.get(path)
    assert (answer.status_code, answer.content_type) == (status, "application/problem+json")
    assert answer.json and answer.json.keys() == {"type", "title", "status", "detail"}


@pytest.mark.parametrize("sent", [{}, {"code": 3, "name": "x"}, {"code": "x" * 41, "name": "x"}, [1], "x"])
def test_what_does_not_fit_is_refused(client: FlaskClient, sent: object) -> None:
    assert client.post(PAIR, json=sent).status_code == 422


def test_more_than_a_route_takes_is_refused(client: FlaskClient) -> None:
    assert client.post(PAIR, json={"code": "x", "name": "x" * 20_000}).status_code == 413


@pytest.mark.parametrize(
    "origin",
    [
        "https://fieldkit-ab12.local:8443",
        "https://192.168.8.2:8443",
        "https://10.1.2.3:8443",
        "http://localhost:8440",
        "https://[fe80::1]",
    ],
)
@pytest.mark.parametrize("path", [HELLO, "/api/v1/nothing"])
def test_a_page_that_a_base_served_elsewhere_may_read_the_answer(client: FlaskClient, origin: str, path: str) -> None:
    answer = client.get(path, headers={"Origin": origin})
    assert (answer.headers["Access-Control-Allow-Origin"], answer.vary.to_header()) == (origin, "Origin")


@pytest.mark.parametrize(
    "origin",
    [
        "https://reef.example",
        "https://local",
        "https://8.8.8.8",
        "null",
        "https://evil.local.example",
        "file://x.local",
        "https://[",
    ],
)
def test_a_page_of_the_internet_may_not(client: FlaskClient, origin: str) -> None:
    assert "Access-Control-Allow-Origin" not in client.get(HELLO, headers={"Origin": origin}).headers


def test_a_preflight_allows_what_handing_in_needs(client: FlaskClient) -> None:
    asked = {"Origin": "https://a.local", "Access-Control-Request-Method": "PATCH"}
    told = client.options("/api/v1/photos/x", headers=asked).headers
    assert "PATCH" in told["Access-Control-Allow-Methods"] and told["Access-Control-Max-Age"] == "600"
    assert {"Authorization", "Upload-Offset"} <= set(told["Access-Control-Allow-Headers"].split(", "))


def test_the_description_names_every_route(client: FlaskClient) -> None:
    said = client.get("/api/v1/openapi.json").json
    assert said and {"/hello", "/pair"} <= said["paths"].keys()
