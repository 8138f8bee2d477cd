"""The page of what is due: what it lists, what a lead writes down on it, and that it plans work, not dives."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from shutil import copytree
from typing import Any

import gpxpy
import pytest
from flask.testing import FlaskClient

from fieldkit.base import Base
from fieldkit.server import create_app
from tests.server.asking import Page, token_of
from tests.support.programme import name

NOT_DIVES = "fieldkit plans work, not dives"


@pytest.fixture
def own(sample: Path, tmp_path: Path) -> Base:
    """The sample, to be written to."""
    return Base(copytree(sample, tmp_path / "own"))


@pytest.fixture
def reading(sample: Path) -> FlaskClient:
    return create_app(Base(sample)).test_client()


def send(client: FlaskClient, address: str, page: str, **given: Any) -> Any:
    form = {"token": token_of(client.get(page).text), "who": "EA", **given}
    return client.post(address, data=form, headers={"Origin": "http://localhost"})


def site_of(base: Base, called: str) -> str:
    with base.view() as view:
        return next(id_ for id_, said in view.things("site").items() if said["name"] == called)


def test_due_visits_and_corals_that_need_a_hand_stand_on_the_page_with_the_cautions(reading: FlaskClient) -> None:
    page = reading.get("/due?day=2026-11-11").text
    assert all(one in page for one in ("PAN-11", "Half a year after the heat", "month 24", "reattach", NOT_DIVES))


def test_the_page_is_told_in_spanish(reading: FlaskClient) -> None:
    page = reading.get("/due?day=2026-11-11&lang=es").text
    assert "volver a fijar" in page and "planifica trabajo, no inmersiones" in page


ODD = ("/due?day=yesterday", "/due/plan?dives=none", "/due/plan.gpx?minutes=-1", "/due/draw?each=x")


@pytest.mark.parametrize("address", ODD)
def test_an_address_that_cannot_be_read_is_refused(reading: FlaskClient, address: str) -> None:
    assert reading.get(address).status_code == 400


def test_the_plan_of_a_day_tells_dives_minutes_and_what_to_carry_and_plans_no_dives(reading: FlaskClient) -> None:
    page = reading.get("/due/plan?day=2026-11-11&dives=2&minutes=45").text
    assert all(one in page for one in ("Dive 1", "Dive 2", "of 45 minutes of work", "Epoxy or cement", NOT_DIVES))
    assert "Dive 3" not in page


def test_the_plan_goes_along_as_waypoints_that_an_outside_reader_takes(reading: FlaskClient) -> None:
    answer = reading.get("/due/plan.gpx?day=2026-11-11&dives=2&minutes=45")
    read = gpxpy.parse(answer.data)
    assert answer.mimetype == "application/gpx+xml" and NOT_DIVES in str(read.description)
    assert {one.name for one in read.waypoints} <= {"Lantern Bommie", "Pandanus Slope", "Ray Steps", "Old Moorings"}
    assert any("PAN-11: 37 m at 355° from: mooring" in str(one.description) for one in read.waypoints)


def test_what_was_done_is_written_down_once_and_taken_back(own: Base) -> None:
    client = create_app(own).test_client()
    page = client.get("/due")
    boxes = [one["value"] for one in Page(page.text).all("input") if one.get("name") == "given"]
    once = next(one["value"] for one in Page(page.text).all("input") if one.get("name") == "once")
    form = {"given": boxes[:2], "once": once, "day": "2026-11-30"}
    answers = [send(client, "/due/tended", "/due", **form) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [303, 303]
    with own.view() as view:
        done = [entry.values["done"] for entry, row in view.actions() if row.day == "2026-11-30"]
    assert done == ["reattached", "reattached"]
    left = [one["value"] for one in Page(client.get("/due").text).all("input") if one.get("name") == "given"]
    assert not set(boxes[:2]) & set(left) and len(left) == len(boxes) - 2
    told = client.get(answers[0].location.partition("#")[0]).text
    undo = next(str(one["action"]) for one in Page(told).all("form") if "/undo" in str(one.get("action")))
    send(client, undo, "/due")
    assert [one["value"] for one in Page(client.get("/due").text).all("input") if one.get("name") == "given"] == boxes


def test_nothing_ticked_is_refused_and_nothing_is_written_without_initials(own: Base) -> None:
    client = create_app(own).test_client()
    assert "Nothing is ticked" in send(client, "/due/tended", "/due", once=name("once"), day="2026-11-30").text
    assert send(client, "/due/tended", "/due", once=name("once"), day="2026-11-30", who="").status_code == 400


def test_a_storm_opens_visits_and_is_taken_back(own: Base) -> None:
    client, site = create_app(own).test_client(), site_of(own, "Old Moorings")
    said = {"what": "storm", "from": "2026-11-20", "until": "2026-11-21", "site": [site], "once": name("storm")}
    for _ in range(2):
        assert send(client, "/due/events", "/due", **said).status_code == 303
    page = client.get(f"/due?day=2026-11-25&site={site}").text
    assert "Storm, 20 Nov 2026 to 21 Nov 2026" in page and "After the storm" in page
    taken = [str(one["action"]) for one in Page(page).all("form") if "/take-back" in str(one.get("action"))]
    assert len(taken) == 2  # the heat of the sample, and this
    send(client, taken[0], "/due")
    assert "After the storm" not in client.get(f"/due?day=2026-11-25&site={site}").text


def test_a_draw_is_looked_at_written_and_undone(own: Base) -> None:
    client, site = create_app(own).test_client(), site_of(own, "Old Moorings")
    looked = client.get(f"/due/draw?each=1&seed=reef&site={site}").text
    assert "not written down yet" in looked and "would not be any more" in looked
    before = client.get("/due").text
    assert send(client, "/due/draw", "/due/draw?seed=reef", each="1", seed="reef", site=site).status_code == 303
    made = client.get("/due/draw").text
    assert "seed “reef”" in made and "are not, and are never overdue" in client.get("/due").text
    undo = next(str(one["action"]) for one in Page(made).all("form") if "/undo" in str(one.get("action")))
    send(client, undo, "/due/draw")
    assert "47 plots are followed" in before and "47 plots are followed" in client.get("/due").text


def test_a_plan_becomes_a_boat_day_with_numbered_sheets(own: Base) -> None:
    client = create_app(own).test_client()
    page = Page(client.get("/due/plan?day=2026-12-01&dives=1&minutes=45").text)
    hidden = {
        str(one["name"]): str(one["value"]) for one in page.all("input") if one.get("type") == "hidden" and "value" in one
    }
    given = {one: hidden[one] for one in ("site", "day", "plot")}
    assert send(client, "/slates/plan", "/due/plan", **given, crew="", paper="a4").status_code == 303
    with own.view() as view:
        (said,) = [said for said in view.things("boat_day").values() if said["day"] == "2026-12-01"]
    assert said["plots"] == [hidden["plot"]] and said["sheets"]


def test_a_base_without_a_monitoring_protocol_says_what_to_do(tmp_path: Path) -> None:
    client = create_app(Base.create(tmp_path / "empty", "Empty")).test_client()
    assert [client.get(address).status_code for address in ("/due", "/due/plan", "/due/draw")] == [200, 200, 200]
    assert "No monitoring protocol" in client.get("/due").text and client.get("/due/plan.gpx").status_code == 400


def test_today_is_the_day_where_none_is_asked_for(reading: FlaskClient) -> None:
    assert date.today().isoformat() in reading.get("/due").text
