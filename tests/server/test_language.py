"""A page speaks the language that was asked for, else the one chosen before, else the browser's."""

from __future__ import annotations

import pytest
from flask.testing import FlaskClient

SPANISH, ENGLISH = '<html lang="es">', '<html lang="en">'


@pytest.mark.parametrize(
    ("accepted", "spoken"),
    [
        ("es-MX,es;q=0.9,en;q=0.5", SPANISH),
        ("fr,es;q=0.5", SPANISH),
        ("en;q=0.5,es;q=0.9", SPANISH),
        ("fr", ENGLISH),
        ("", ENGLISH),
    ],
)
def test_the_browsers_list_decides_where_nothing_was_chosen(client: FlaskClient, accepted: str, spoken: str) -> None:
    assert spoken in client.get("/days", headers={"Accept-Language": accepted}).text


def test_a_language_asked_for_is_remembered(client: FlaskClient) -> None:
    client.get("/days?lang=es")
    assert SPANISH in client.get("/matters", headers={"Accept-Language": "en"}).text


def test_an_unknown_language_changes_nothing(client: FlaskClient) -> None:
    answer = client.get("/days?lang=<script>", headers={"Accept-Language": "es"})
    assert SPANISH in answer.text and "Set-Cookie" not in answer.headers


def test_a_page_says_what_its_answer_depends_on(client: FlaskClient) -> None:
    assert {"Accept-Language", "Cookie"} <= set(client.get("/days").vary)


def test_changing_the_language_keeps_what_was_asked(client: FlaskClient) -> None:
    assert 'href="?by=genotype&amp;age=92&amp;lang=es"' in client.get("/survival?by=genotype&age=92").text


def test_figures_carry_the_decimal_sign_of_the_language(client: FlaskClient) -> None:
    assert "0,0\N{NO-BREAK SPACE}%" in client.get("/survival?lang=es").text
