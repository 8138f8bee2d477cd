"""`/import`: a file is chosen, read through, tried, and taken only when the lead says so."""

from __future__ import annotations

import io
import re
from html import unescape
from typing import Any

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from fieldkit.base import Base, saved_mappings
from tests.server.asking import Page, token_of

SHEET = "Reef,Placa,Planted,Survey date,State,cm\n" + "".join(
    f"Outer,{tag},25/03/2024,{day}/06/2024,{state},8\n" for tag, day, state in ((301, 5, "V"), (302, 25, "V"), (303, 25, "??"))
)


@pytest.fixture
def chosen(client: FlaskClient) -> TestResponse:
    return choose(client, SHEET)


def choose(client: FlaskClient, text: str, name: str = "ours.csv") -> TestResponse:
    data = {"token": token_of(client.get("/import").text), "file": (io.BytesIO(text.encode()), name)}
    return client.post("/import", data=data, content_type="multipart/form-data", follow_redirects=True)


def filled_in(page: str) -> dict[str, Any]:
    """The form of the mapping as a browser would send it back."""
    form = page.partition('<form class="register"')[2].partition("</form>")[0]
    given = {str(one["name"]): one.get("value") or "" for one in Page(form).all("input") if one.get("name")}
    for select in re.finditer(r'<select[^>]*name="(\w+)"[^>]*>(.*?)</select>', form, re.DOTALL):
        on = re.search(r'value="([^"]*)" selected', select[2])
        given[select[1]] = on[1] if on else str(Page(select[2]).all("option")[0].get("value") or "")
    given["mapping"] = unescape(re.search(r"<textarea[^>]*>(.*?)</textarea>", form, re.DOTALL)[1])  # type: ignore[index]
    return given


def address(page: str) -> str:
    return str(re.search(r'action="(/import/\w+/)try"', page)[1])  # type: ignore[index]


def send(client: FlaskClient, page: str, what: str, **given: str) -> TestResponse:
    return client.post(address(page) + what, data={**filled_in(page), **given})


def corals(base: Base) -> int:
    with base.view() as view:
        return len(view.corals())


def test_a_mapping_is_proposed_with_examples_and_what_it_leaves_open(chosen: TestResponse) -> None:
    assert filled_in(chosen.text)["column1"] == "tag"
    assert filled_in(chosen.text)["date_order"] == "dmy"
    assert "301" in chosen.text and "what does “V” mean" in unescape(chosen.text)


def test_a_try_tells_every_refusal_and_writes_nothing(client: FlaskClient, base: Base, chosen: TestResponse) -> None:
    before = corals(base)
    page = unescape(send(client, chosen.text, "try", word0="alive").text)
    assert "2 rows, 2 corals, 2 observations" in page
    assert "ours.csv, row 4, column “State”, “??”: this word is not known." in page
    assert corals(base) == before


def test_what_was_tried_is_taken_when_the_lead_says_so_and_the_mapping_is_kept(
    client: FlaskClient, base: Base, chosen: TestResponse
) -> None:
    before = corals(base)
    tried = send(client, chosen.text, "try", word0="alive", name="outer reef")
    taken = send(client, tried.text, "take")
    assert (taken.status_code, corals(base) - before) == (200, 2)
    assert saved_mappings(base).names() == ["outer reef"]


def test_a_kept_mapping_is_used_for_the_next_sheet(client: FlaskClient, chosen: TestResponse) -> None:
    tried = send(client, chosen.text, "try", word0="alive", name="outer reef")
    send(client, tried.text, "take")
    data = {
        "token": token_of(client.get("/import").text),
        "file": (io.BytesIO(SHEET.encode()), "next.csv"),
        "saved": "outer reef",
    }
    page = client.post("/import", data=data, content_type="multipart/form-data", follow_redirects=True).text
    assert filled_in(page)["word0"] == "alive"


def test_a_column_chosen_otherwise_is_read_otherwise(client: FlaskClient, chosen: TestResponse) -> None:
    page = unescape(send(client, chosen.text, "try", word0="alive", column5="").text)
    assert "1 column was not taken: cm." in page


def test_a_fault_of_the_mapping_text_is_told_and_nothing_is_lost(client: FlaskClient, chosen: TestResponse) -> None:
    found = send(client, chosen.text, "try", mapping="layuot = 1\n")
    assert found.status_code == 400 and "“layuot” is not known. Perhaps: layout" in unescape(found.text)


def test_what_is_no_table_is_refused_at_once(client: FlaskClient) -> None:
    found = choose(client, "\xd0\xcf", "a.bin")
    assert choose(client, "", "empty.csv").status_code >= 400 or found.status_code >= 400


def test_formulas_and_markup_of_a_sheet_are_shown_as_text(client: FlaskClient) -> None:
    page = choose(client, 'site,tag,seen_on,status,note\nOuter,A1,2024-06-05,alive,"=1+1<script>alert(1)</script>"\n').text
    assert "<script>alert" not in page and "=1+1&lt;script&gt;" in page


def test_a_file_that_nobody_chose_is_not_there(client: FlaskClient) -> None:
    assert client.get("/import/" + "0" * 64).status_code == 404
