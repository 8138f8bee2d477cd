"""A first import opens hundreds of matters: they come in parts, the most valuable first, and an answer goes on where it was."""

from __future__ import annotations

import re
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from flask.testing import FlaskClient

from fieldkit.base import Base
from fieldkit.server import create_app
from fieldkit.server.pages.matters import AT_ONCE
from tests.server.asking import Page, token_of
from tests.support.programme import Reef, base_of

MANY = AT_ONCE + 5


@pytest.fixture
def base(tmp_path: Path) -> Base:
    """KT and RS differ in the size of each coral, and in the state of the last."""
    made = Reef({"A": MANY})
    first, second = made.dive("KT", "2024-06-01"), made.dive("RS", "2024-06-01")
    for place in range(1, MANY + 1):
        made.see(first, str(100 + place), "alive", size_cm="10")
        made.see(second, str(100 + place), **({"size_cm": "19"} if place < MANY else {"status": "dead"}))
    return base_of(tmp_path / "base", made.entries(), [made.protocol])


@pytest.fixture
def client(base: Base) -> FlaskClient:
    return create_app(base).test_client()


def shown(client: FlaskClient, address: str) -> list[str]:
    return [str(card["id"]) for card in Page(client.get(address).text).all("article")]


def turning(client: FlaskClient, address: str) -> list[str]:
    return re.findall(r'<a rel="(\w+)"', client.get(address).text)


def test_many_matters_come_in_parts_that_hold_each_once(client: FlaskClient, base: Base) -> None:
    first, second = shown(client, "/matters"), shown(client, "/matters?page=2")
    assert (len(first), len(second), len({*first, *second})) == (AT_ONCE, MANY - AT_ONCE, MANY)
    assert shown(client, "/matters?page=99") == second


def test_what_moves_a_figure_stands_in_the_first_part(client: FlaskClient) -> None:
    assert f">{100 + MANY}<" in client.get("/matters").text.partition("</h2>")[0]


def test_each_part_leads_to_those_beside_it(client: FlaskClient) -> None:
    assert (turning(client, "/matters"), turning(client, "/matters?page=2")) == (["next"], ["prev"])


def test_after_an_answer_the_list_goes_on_where_it_was(client: FlaskClient) -> None:
    second = shown(client, "/matters?page=2")
    id_ = second[1].removeprefix("m-")
    given = {"token": token_of(client.get("/matters").text), "who": "EA", "says": "answer=both_stand"}
    where = urlsplit(client.post(f"/matters/{id_}/answer", data=given).headers["Location"])
    assert (parse_qs(where.query)["page"], where.fragment) == (["2"], second[2])
    assert shown(client, f"{where.path}?{where.query}") == [second[0], *second[2:]]


def test_one_answer_can_be_given_to_all_that_are_alike_in_every_part(client: FlaskClient, base: Base) -> None:
    id_ = shown(client, "/matters?page=2")[0].removeprefix("m-")
    given = {"token": token_of(client.get("/matters").text), "who": "EA", "says": "answer=set_aside", "alike": "yes"}
    client.post(f"/matters/{id_}/answer", data=given)
    with base.view() as view:
        assert view.matters() == []
