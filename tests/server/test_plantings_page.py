"""A planting day is typed in one line, looked at, written once, and makes the corals; it can be taken back as a whole."""

from __future__ import annotations

import re
from html import unescape

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from fieldkit.base import Base, Statement
from fieldkit.protocol import read_protocol
from fieldkit.server import create_app
from fieldkit.shipped import SAMPLE_SURVEYS
from tests.server.asking import Page, token_of
from tests.support.programme import name

OUTPLANTING = SAMPLE_SURVEYS / "protocols" / "outplanting.toml"
DAY = "2024-07-01"
GOOD = {"plot": name("plot", "A"), "day": DAY, "tags": "301-310, G1", "method": "cement", "points": "3", "size_cm": "12,5"}


@pytest.fixture
def client(base: Base) -> FlaskClient:
    base.adopt(read_protocol(OUTPLANTING.read_bytes(), name=OUTPLANTING.name))
    return create_app(base).test_client()


def look(client: FlaskClient, **given: str) -> TestResponse:
    token = token_of(client.get("/plantings/new").text)
    return client.post("/plantings/new", data={"token": token, **GOOD, **given})


def hidden_of(page: str) -> dict[str, str]:
    """What the form that writes holds."""
    form = page.partition('action="/plantings/write"')[2].partition("</form>")[0]
    return {str(one["name"]): str(one["value"]) for one in Page(form).all("input") if one.get("type") == "hidden"}


def write(client: FlaskClient, page: str, **given: str) -> TestResponse:
    return client.post("/plantings/write", data={**hidden_of(page), "who": "EA", **given})


def tags_in(base: Base, plot: str = "A") -> list[str]:
    with base.view() as view:
        return sorted(str(row["tag"]) for row in view.corals_of_plot(name("plot", plot)))


def advice(page: str) -> str:
    return unescape(page.partition('<ul class="advice">')[2].partition("</ul>")[0])


def test_looking_writes_nothing(client: FlaskClient, base: Base) -> None:
    page = look(client).text
    assert "10 corals, planted in A on 1 Jul 2024" in page and len(tags_in(base)) == 3


def test_what_was_looked_at_and_written_makes_the_corals(client: FlaskClient, base: Base) -> None:
    assert write(client, look(client).text).status_code == 303
    with base.view() as view:
        (coral,) = (row for row in view.corals() if row["tag"] == "305")
    said = coral["said"]["values"]
    assert (coral["planted_on"], coral["genotype"], coral["method"]) == (DAY, name("genotype"), "cement")
    assert (said["points"], said["size_cm"], coral["plot"]) == ("3", "12.5", name("plot", "A"))


def test_a_form_pressed_twice_plants_once(client: FlaskClient, base: Base) -> None:
    page = look(client).text
    first, second = (write(client, page).headers["Location"] for _ in range(2))
    assert (len(tags_in(base)), first) == (13, second)


def test_the_session_says_day_site_protocol_and_who(client: FlaskClient, base: Base) -> None:
    session = write(client, look(client, depth_m="6", note="calm").text).headers["Location"].partition("/plantings/")[2][:36]
    with base.view() as view:
        row = view.sessions([session])[session]
    said = row.session.values
    assert (row.day, row.site, said["recorder"], said["depth_m"], said["note"]) == (DAY, name("site"), "EA", "6", "calm")
    assert row.protocol == read_protocol(OUTPLANTING.read_bytes(), name="it").digest


def test_a_planting_is_taken_back_as_a_whole(client: FlaskClient, base: Base) -> None:
    address = write(client, look(client).text).headers["Location"].partition("?")[0]
    given = {"token": token_of(client.get(address).text), "who": "EA"}
    assert client.post(f"{address}/take-back", data=given).status_code == 303
    assert len(tags_in(base)) == 3 and "This planting was taken back" in client.get(address).text


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"tags": "301-310"}, "No genotype follows “310”"),
        ({"tags": "310-301, G1"}, "runs backwards"),
        ({"day": "2999-01-01"}, "has not been yet"),
        ({"day": "1 July"}, "is no day"),
        ({"plot": ""}, "This is needed"),
        ({"method": ""}, "Attached with"),
        ({"points": "21"}, "Points of attachment"),
        ({"lot": name("no lot")}, "none of those on the list"),
    ],
)
def test_what_cannot_be_written_comes_back_with_its_reason(
    client: FlaskClient, base: Base, given: dict[str, str], said: str
) -> None:
    answer = look(client, **given)
    assert (answer.status_code, said in answer.text, "plantings/write" in answer.text) == (400, True, False)
    assert client.post("/plantings/write", data={**hidden_of(look(client).text), "who": "EA", **given}).status_code == 400
    assert len(tags_in(base)) == 3


def test_advice_is_shown_and_keeps_nobody_from_writing(client: FlaskClient, base: Base) -> None:
    page = look(client, tags="101, 311-312, G1", points="1").text
    told = advice(page)
    assert [word for word in ("Tag 101 is worn", "names no permit", "1 points of attachment") if word not in told] == []
    assert write(client, page).status_code == 303 and len(tags_in(base)) == 6


def test_advice_reckons_with_the_permit_and_with_what_was_planted_before(client: FlaskClient, base: Base) -> None:
    permit = name("permit")
    limits = {"acropora_sp": "14"}
    base.say(
        [
            Statement("permit", {"permit": permit, "number": "P-7", "from": "2024-01-01", "limits": limits}),
            Statement("site", {"site": name("site"), "name": "Amo", "permit": permit}),
        ]
    )
    assert "15 Acropora sp are planted under permit P-7; it allows 14" in advice(look(client).text)
    assert advice(look(client, tags="301-309, G1").text) == ""


def test_a_lot_gives_its_genotype_and_is_used_up(client: FlaskClient, base: Base) -> None:
    lot = name("lot")
    said = {"lot": lot, "genotype": name("genotype"), "structure": "tree", "count": "9", "ready": "9", "day": "2024-06-01"}
    base.say([Statement("lot", said)])
    page = look(client, tags="301-310", lot=lot).text
    assert "10 corals from a lot that has 9 ready" in advice(page)
    write(client, page)
    assert "1 more was planted than was counted" in client.get(f"/programme/lot/{lot}").text


def test_a_counted_plot_takes_no_tags(client: FlaskClient, base: Base) -> None:
    base.say([Statement("plot", {"plot": name("plot", "C"), "site": name("site"), "name": "C", "recorded_as": "counted"})])
    assert "This plot is counted" in look(client, plot=name("plot", "C")).text
    assert f'value="{name("plot", "C")}"' not in client.get("/plantings/new").text


def test_a_planting_of_more_corals_than_one_entry_may_name_is_taken_back_too(client: FlaskClient, base: Base) -> None:
    address = write(client, look(client, tags="1001-1250, G1").text).headers["Location"].partition("?")[0]
    client.post(f"{address}/take-back", data={"token": token_of(client.get(address).text), "who": "EA"})
    assert len(tags_in(base)) == 3


def test_a_programme_without_an_outplanting_protocol_is_offered_the_one_that_ships(base: Base) -> None:
    client = create_app(base).test_client()
    page = client.get("/plantings/new").text
    assert "No outplanting protocol is adopted yet" in page
    client.post("/plantings/protocol", data={"token": token_of(page)})
    assert 'name="tags"' in client.get("/plantings/new").text


def test_every_planting_day_is_listed_with_its_corals(client: FlaskClient) -> None:
    write(client, look(client).text)
    assert re.search(r"1 Jul 2024</a>.*?>10<", client.get("/programme").text, re.DOTALL)
