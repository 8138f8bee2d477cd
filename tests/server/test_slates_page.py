"""Planning a boat day on the page, and the sheets that are printed for it."""

from __future__ import annotations

from typing import Any

import pypdfium2 as pdfium
import pytest
from flask.testing import FlaskClient

from fieldkit.base import Base
from tests.server.asking import token_of
from tests.support.programme import name

DAY = "2999-06-01"  # no day of the past, so that it is listed


def plan(client: FlaskClient, *plots: str, **given: str) -> Any:
    token = token_of(client.get(f"/slates?site={name('site')}").text)
    form = {"token": token, "site": name("site"), "day": DAY, "plot": list(plots), "who": "EA", **given}
    return client.post("/slates/plan", data=form, headers={"Origin": "http://localhost"})


def planned(base: Base) -> list[dict[str, Any]]:
    with base.view() as view:
        return sorted(view.things("boat_day").values(), key=lambda said: int(said["sheets"][0]))


def text_of(pdf: bytes) -> list[str]:
    return [page.get_textpage().get_text_bounded() for page in pdfium.PdfDocument(pdf)]


def test_a_planned_day_holds_plots_crew_and_a_number_for_every_sheet(client: FlaskClient, base: Base) -> None:
    plots = [name("plot", "A"), name("plot", "B")]
    assert plan(client, *plots, crew="KT, RS,").status_code == 303
    (said,) = planned(base)
    del said["boat_day"]
    out = {"plots": plots, "crew": ["KT", "RS"], "sheets": ["1", "2"], "sheet_plots": plots}
    assert said == {"day": DAY, "site": name("site"), **out}


def test_the_next_day_goes_on_counting(client: FlaskClient, base: Base) -> None:
    plan(client, name("plot", "A"))
    plan(client, name("plot", "B"))
    assert [said["sheets"] for said in planned(base)] == [["1"], ["2"]]


def test_what_is_planned_stands_among_the_boat_days_and_is_not_out_before_its_day(client: FlaskClient) -> None:
    plan(client, name("plot", "B"))
    told = client.get("/days").text
    assert "Planned" in told and "1 Jun 2999" in told and "still out" not in told


def test_a_plan_is_signed(client: FlaskClient, base: Base) -> None:
    assert plan(client, name("plot", "A"), who="").status_code == 400 and planned(base) == []
    plan(client, name("plot", "A"))
    with base.view() as view:
        (said,) = view.ledger.of_kind("boat_day")
        assert view.sessions([said.session])[said.session].session.values["recorder"] == "EA"


def test_the_sheets_of_a_planned_day_carry_its_numbers_and_its_day(client: FlaskClient) -> None:
    plan(client, name("plot", "A"))
    shown = client.get(plan(client, name("plot", "A"), name("plot", "B")).location.partition("#")[0]).text
    link = next(part.partition('"')[0] for part in shown.split('href="') if ".pdf" in part)
    answer = client.get(link)
    assert answer.mimetype == "application/pdf"
    told = text_of(answer.data)
    assert ["Sheet 2" in told[0], "Sheet 3" in told[1], "1 Jun 2999" in told[0]] == [True, True, True]


def test_slates_can_be_printed_without_a_plan(client: FlaskClient) -> None:
    told = text_of(client.get(f"/slates/print?site={name('site')}&paper=letter&lang=es").data)
    assert len(told) == 2 and "Hoja" in told[0] and "101" in told[0]


@pytest.mark.parametrize(
    ("given", "why"), [({"day": ""}, "needs a day"), ({"crew": "K" * 201}, "200"), ({"paper": "a9"}, "a9")]
)
def test_a_plan_that_cannot_be_is_refused_with_what_would_be_right(
    client: FlaskClient, base: Base, given: dict[str, str], why: str
) -> None:
    answer = plan(client, name("plot", "A"), **given)
    assert answer.status_code == 400 and why in answer.text and planned(base) == []


def test_a_plan_without_a_plot_is_refused(client: FlaskClient, base: Base) -> None:
    assert plan(client).status_code == 400 and planned(base) == []


def test_a_plot_that_the_site_has_not_is_refused_by_its_name(client: FlaskClient, base: Base) -> None:
    answer = plan(client, name("plot", "A"), "no-such")
    assert answer.status_code == 400 and "no-such" in answer.text and planned(base) == []


def test_the_page_says_that_it_plans_no_dives(client: FlaskClient) -> None:
    told = client.get("/slates").text
    assert "This plans work, not dives" in told and "It plans no dives" in told


def test_an_unknown_boat_day_is_not_there(client: FlaskClient) -> None:
    assert client.get(f"/slates/{name('none')}.pdf").status_code == 404


def test_a_site_without_corals_says_that_there_is_nothing_to_print(client: FlaskClient) -> None:
    answer = client.get("/slates/print?site=none")
    assert answer.status_code == 400 and "nothing to print" in answer.text
