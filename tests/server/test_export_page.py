"""Taking data out on the page: what is chosen is what comes, and exact places and names are the lead's alone."""

from __future__ import annotations

import csv
from io import BytesIO, StringIO
from zipfile import ZipFile

import pytest
from flask.testing import FlaskClient

from fieldkit.exports import FORMS
from tests.server.asking import Page


@pytest.mark.parametrize("form", list(FORMS))
def test_every_form_that_the_page_offers_comes_as_a_file_to_keep(client: FlaskClient, form: str) -> None:
    offered = [one["value"] for one in Page(client.get("/export").text).all("input") if one.get("name") == "form"]
    answer = client.get(f"/export/file?form={form}")
    assert form in offered and answer.status_code == 200 and answer.data
    assert answer.headers["Content-Disposition"] == f"attachment; filename={form}{FORMS[form].suffix}"


def test_the_corals_that_were_chosen_come_and_no_others(client: FlaskClient) -> None:
    with ZipFile(BytesIO(client.get("/export/file?form=csv&as_of=2024-05-31").data)) as packed:
        visits = list(csv.DictReader(StringIO(packed.read("visits.csv").decode("utf-8"), newline="")))
    assert visits == []


def test_what_is_not_known_is_refused_with_what_is(client: FlaskClient) -> None:
    answer = client.get("/export/file?form=ods&places=0.5")
    assert answer.status_code == 400 and "darwin-core" in answer.text and "0.001" in answer.text


def test_the_choice_of_a_figure_goes_along_to_the_page(client: FlaskClient) -> None:
    page = client.get("/export?as_of=2024-06-01").text
    assert 'name="as_of" value="2024-06-01"' in page
