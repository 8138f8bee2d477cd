"""A page of a stranger, open in the same browser, can neither read a base nor change it."""

from __future__ import annotations

import pytest
from flask.testing import FlaskClient

from fieldkit.base import Base
from fieldkit.server import create_app
from fieldkit.server.safety import MOST_BYTES, POLICY
from tests.server.asking import token_of

SIGN = "/matters/sign"


def sent(client: FlaskClient, *, token: str | None = None, who: str = "EA", **headers: str) -> int:
    held = token_of(client.get("/matters").text) if token is None else token
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return client.post(SIGN, data={"token": held, "who": who}, headers=named).status_code


@pytest.mark.parametrize("host", ["localhost", "127.0.0.1", "[::1]", "LOCALHOST", "localhost:80"])
def test_this_computer_is_answered_under_each_of_its_names(client: FlaskClient, host: str) -> None:
    assert client.get("/days", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    ["rebound.example", "localhost.rebound.example", "127.0.0.2", "localhost:8081", "localhost:x", "a@localhost", "[::2]"],
)
def test_a_strangers_name_that_points_here_is_turned_away(client: FlaskClient, host: str) -> None:
    assert client.get("/days", headers={"Host": host}).status_code == 403


def test_a_page_of_ours_is_heard(client: FlaskClient) -> None:
    assert sent(client, Origin="http://localhost", Sec_Fetch_Site="same-origin") == 303


def test_a_browser_that_hides_the_origin_of_our_form_is_heard(client: FlaskClient) -> None:
    assert sent(client, Origin="null", Sec_Fetch_Site="same-origin") == 303


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://stranger.example"},
        {"Origin": "https://localhost"},
        {"Origin": "http://localhost:8081"},
        {"Sec_Fetch_Site": "cross-site"},
        {"Sec_Fetch_Site": "same-site"},
        {"Sec_Fetch_Site": "none"},
    ],
)
def test_another_origin_is_turned_away_even_with_the_token(client: FlaskClient, headers: dict[str, str]) -> None:
    assert sent(client, **headers) == 403


@pytest.mark.parametrize("token", ["", "guessed", "ä"])
def test_whoever_does_not_hold_the_token_is_turned_away(client: FlaskClient, token: str) -> None:
    assert sent(client, token=token) == 403


def test_the_token_of_another_run_is_turned_away(client: FlaskClient, base: Base) -> None:
    other = create_app(base).test_client()
    assert sent(client, token=token_of(other.get("/matters").text)) == 403


@pytest.mark.parametrize("path", ["/matters/x/answer", "/matters/x/retract", SIGN, "/nowhere"])
def test_nothing_that_changes_anything_goes_without_the_token(client: FlaskClient, path: str) -> None:
    assert client.post(path).status_code == 403


@pytest.mark.parametrize("path", ["/days", "/matters", "/survival", "/survival.csv", "/nowhere", "/static/pages/pages.css"])
def test_every_answer_carries_the_policy(client: FlaskClient, path: str) -> None:
    headers = client.get(path, buffered=True).headers
    told = {name: headers.get(name) for name in ("Content-Security-Policy", "X-Content-Type-Options", "Referrer-Policy")}
    assert told == {"Content-Security-Policy": POLICY, "X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer"}


def test_the_policy_lets_nothing_run_that_is_not_a_file_of_ours() -> None:
    assert "default-src 'none'" in POLICY and "unsafe" not in POLICY and "http" not in POLICY


def test_too_much_at_once_is_refused_on_a_page(client: FlaskClient) -> None:
    answer = client.post(SIGN, data={"token": "x" * MOST_BYTES})
    assert (answer.status_code, "too much" in answer.text) == (413, True)


def test_too_many_fields_are_refused(client: FlaskClient) -> None:
    many = {f"field{n}": "" for n in range(2_000)}
    assert client.post(SIGN, data=many, content_type="multipart/form-data").status_code == 413


def test_no_page_is_kept_by_the_browser(client: FlaskClient) -> None:
    assert client.get("/matters").headers["Cache-Control"] == "no-store"
