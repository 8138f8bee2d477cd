"""What holds for every page: it answers, in the reader's language, and says what went wrong in the look of the others."""

from __future__ import annotations

from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

from fieldkit.base import Base
from fieldkit.server import create_app
from tests.server.asking import Page
from tests.support.programme import base_of

PAGES = ("/days", "/matters", "/survival")


@pytest.mark.parametrize("page", PAGES)
def test_every_page_answers(client: FlaskClient, page: str) -> None:
    assert client.get(page).status_code == 200


@pytest.mark.parametrize("page", PAGES)
def test_every_page_answers_before_anything_has_come_in(tmp_path: Path, page: str) -> None:
    assert create_app(base_of(tmp_path / "base")).test_client().get(page).status_code == 200


def test_the_address_alone_leads_to_the_boat_days(client: FlaskClient) -> None:
    assert client.get("/").headers["Location"] == "/days"


@pytest.mark.parametrize("page", PAGES)
def test_nothing_on_a_page_carries_a_script_or_a_style_of_its_own(client: FlaskClient, page: str) -> None:
    elements = Page(client.get(page).text).elements
    inline = [(tag, name) for tag, given in elements for name in given if name == "style" or name.startswith("on")]
    assert inline + [tag for tag, given in elements if tag == "style" or (tag == "script" and "src" not in given)] == []


@pytest.mark.parametrize("page", PAGES)
def test_whatever_a_page_loads_is_on_this_computer_and_there(client: FlaskClient, page: str) -> None:
    taken = Page(client.get(page).text)
    loaded = [str(given["href"]) for given in taken.all("link")] + [str(given["src"]) for given in taken.all("script")]
    assert loaded and {client.get(address, buffered=True).status_code for address in loaded} == {200}


def test_a_missing_page_is_told_as_a_page(client: FlaskClient) -> None:
    answer = client.get("/corrals")
    assert (answer.status_code, "There is no such page" in answer.text) == (404, True)


def test_an_error_names_its_fault_in_the_readers_language(client: FlaskClient) -> None:
    answer = client.get("/survival?estimate=guess&lang=es")
    assert (answer.status_code, "No hay ninguna estimación «guess»" in answer.text) == (400, True)


def test_every_fault_of_a_request_is_told_not_only_the_first(client: FlaskClient) -> None:
    text = client.get("/survival?estimate=guess&by=moon&as_of=yesterday&age=old").text
    assert [word for word in ("“guess”", "“moon”", "“yesterday”", "“old”") if word not in text] == []


def test_what_nobody_foresaw_is_told_as_our_fault(base: Base, caplog: pytest.LogCaptureFixture) -> None:
    app = create_app(base)
    _break(app)
    answer = app.test_client().get("/breaks")
    assert (answer.status_code, "it is our fault" in answer.text, "out of order" in caplog.text) == (500, True, True)


def _break(app: Flask) -> None:
    def breaks() -> str:
        raise RuntimeError("out of order")

    app.add_url_rule("/breaks", "breaks", breaks)


def test_a_name_from_outside_cannot_become_markup(tmp_path: Path) -> None:
    base = Base.create(tmp_path / "base", "<script>alert(1)</script>")
    assert "<script>alert" not in create_app(base).test_client().get("/days").text


def test_the_cautions_of_the_work_stand_on_the_first_page(client: FlaskClient) -> None:
    assert "dive safety officer" in client.get("/days").text
