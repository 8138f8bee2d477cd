"""The register on the pages: everybody in the programme sees it, a lead enters and mends it, and every change can be undone."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from fieldkit.base import Base, Statement
from fieldkit.register.fields import REGISTER
from fieldkit.server import create_app
from tests.server.asking import Page, token_of
from tests.support.programme import name

SITE = name("site")


def hidden(page: str, field: str) -> str:
    found = re.search(rf'name="{field}" value="([^"]*)"', page)
    assert found, f"no hidden {field}"
    return unescape(found[1])


def form_of(client: FlaskClient, kind: str, id_: str | None = None) -> tuple[str, dict[str, str]]:
    """Where a form is sent, and what it holds beside the fields."""
    page = client.get(f"/programme/{kind}/{id_}/change" if id_ else f"/programme/{kind}/new").text
    action = re.search(r'action="(/programme/[^"]+/change)"', page)
    assert action
    return action[1], {"token": token_of(page), "upon": hidden(page, "upon"), "who": "EA"}


def send(client: FlaskClient, kind: str, id_: str | None = None, **fields: str) -> TestResponse:
    address, form = form_of(client, kind, id_)
    return client.post(address, data={**form, **fields})


def press(client: FlaskClient, act: str, kind: str = "site", id_: str = SITE) -> TestResponse:
    given = {"token": token_of(client.get(f"/programme/{kind}/{id_}").text), "who": "EA"}
    return client.post(f"/programme/{kind}/{id_}/{act}", data=given)


def things(base: Base, kind: str) -> dict[str, dict[str, str]]:
    with base.view() as view:
        return view.things(kind)


@pytest.mark.parametrize("kind", REGISTER)
def test_a_form_asks_for_every_field_of_its_kind(client: FlaskClient, kind: str) -> None:
    page = Page(client.get(f"/programme/{kind}/new").text)
    asked = {given.get("name") for tag in ("input", "select", "textarea") for given in page.all(tag)}
    assert {field.name for field in REGISTER[kind].fields} <= asked


@pytest.mark.parametrize("kind", REGISTER)
@pytest.mark.parametrize("language", ["en", "es"])
def test_every_kind_has_its_list_in_every_language(client: FlaskClient, kind: str, language: str) -> None:
    assert client.get(f"/programme/{kind}?lang={language}").status_code == 200


def test_what_a_lead_enters_is_an_entry_that_they_signed(client: FlaskClient, base: Base) -> None:
    answer = send(client, "permit", number="P-7", until="2027-01-01", limits="Acropora muricata 250")
    (id_,) = things(base, "permit")
    assert (answer.status_code, things(base, "permit")[id_]["limits"]) == (303, {"acropora_muricata": "250"})
    with base.view() as view:
        (entry,) = view.ledger.about([id_])
        assert view.sessions([entry.session])[entry.session].session.values["recorder"] == "EA"


def test_a_form_with_faults_comes_back_as_it_was_filled_in_and_writes_nothing(client: FlaskClient, base: Base) -> None:
    answer = send(client, "site", SITE, name="Amo", latitude="-6.9", longitude="", habitat="<b>reef</b>")
    assert (answer.status_code, things(base, "site")[SITE]) == (400, {"site": SITE, "name": "Amo"})
    assert "A position needs latitude and longitude" in answer.text
    assert 'value="-6.9"' in answer.text and "<b>" not in answer.text


def test_a_form_sent_twice_makes_one_thing(client: FlaskClient, base: Base) -> None:
    address, form = form_of(client, "person")
    for _ in range(2):
        assert client.post(address, data={**form, "initials": "NV"}).status_code == 303
    with base.view() as view:
        assert len(view.ledger.of_kind("person")) == 1


def test_a_mended_site_shows_its_position_with_datum_uncertainty_and_origin(client: FlaskClient) -> None:
    said = {"latitude": "-6.93502", "longitude": "167.9112", "uncertainty_m": "8", "position_from": "phone above the mooring"}
    send(client, "site", SITE, name="Amo", **said)
    page = client.get(f"/programme/site/{SITE}").text
    assert [word for word in ("-6.93502°", "167.9112°", "8 m", "phone above the mooring", "WGS 84") if word not in page] == []


def test_the_last_change_is_undone_and_the_history_keeps_both(client: FlaskClient, base: Base) -> None:
    send(client, "site", SITE, name="Ela")
    press(client, "undo")
    assert things(base, "site")[SITE]["name"] == "Amo"
    page = client.get(f"/programme/site/{SITE}").text
    assert "Name: Amo → Ela" in page and "Name: Ela → Amo" in page


def test_a_thing_taken_out_of_the_register_can_be_brought_back(client: FlaskClient, base: Base) -> None:
    press(client, "take-back")
    assert SITE not in things(base, "site") and "Bring it back" in client.get(f"/programme/site/{SITE}").text
    press(client, "undo")
    assert things(base, "site")[SITE]["name"] == "Amo"


def test_before_a_thing_is_taken_out_the_page_says_what_still_names_it(client: FlaskClient) -> None:
    assert "still named by 2 plots" in client.get(f"/programme/site/{SITE}").text


def test_who_filled_in_a_form_that_others_overtook_is_told_and_nothing_is_written(client: FlaskClient, base: Base) -> None:
    address, form = form_of(client, "site", SITE)
    send(client, "site", SITE, name="Amo", depth_m="5")
    answer = client.post(address, data={**form, "name": "Amo", "depth_m": "6"})
    assert (answer.status_code, things(base, "site")[SITE]["depth_m"]) == (400, "5")
    assert "Somebody else changed this" in answer.text


def test_what_two_bases_said_differently_is_shown_with_its_matter_and_settled_by_the_form(
    client: FlaskClient, base: Base
) -> None:
    with base.view() as view:
        (head,) = (entry.digest for entry in view.ledger.about([SITE]) if entry.kind == "site")
    for depth in ("5", "7"):
        base.say([Statement("site", {"site": SITE, "name": "Amo", "depth_m": depth}, (head,))], recorder="NV")
    page = client.get(f"/programme/site/{SITE}").text
    assert "said differently" in page and "/matters?matter=" in page
    assert "Said: 5 m and 7 m." in client.get(f"/programme/site/{SITE}/change").text
    send(client, "site", SITE, name="Amo", depth_m="7")
    with base.view() as view:
        assert [matter for matter in view.matters() if matter.kind == "corrected_twice"] == []


def test_a_name_that_another_thing_bears_is_refused(client: FlaskClient, base: Base) -> None:
    answer = send(client, "site", name=" a m o ")
    assert (answer.status_code, list(things(base, "site"))) == (400, [SITE])


def test_consent_is_no_until_a_person_said_yes(client: FlaskClient) -> None:
    send(client, "person", initials="NV")
    assert "not asked yet" in client.get("/programme/person").text


def test_the_programme_tells_how_much_of_a_permit_is_used(client: FlaskClient, base: Base) -> None:
    send(client, "permit", number="P-7", limits="Acropora sp. 6", **{"from": "2024-01-01"})
    (permit,) = things(base, "permit")
    send(client, "site", SITE, name="Amo", permit=permit)
    row = re.search(r"<i>Acropora sp\.</i>.*?</tr>", client.get("/programme").text, re.DOTALL)
    assert row and re.findall(r">(\d+)<", row[0]) == ["5", "6", "1"]


def test_a_lot_is_told_with_what_is_left_and_what_was_lost(client: FlaskClient, base: Base) -> None:
    lot = {"genotype": name("genotype"), "structure": "tree 1", "count": "50", "ready": "30", "day": "2024-01-01"}
    send(client, "lot", **lot)
    (id_,) = things(base, "lot")
    send(client, "lot", id_, **{**lot, "count": "44", "ready": "20", "day": "2024-02-01"})
    page = client.get(f"/programme/lot/{id_}").text
    assert "44 left, 20 ready" in page and "6 lost so far" in page


@pytest.mark.parametrize("path", ["/programme/coral", "/programme/site/x", f"/programme/site/{name('no')}", "/programme/x/new"])
def test_what_is_not_there_is_told_so(client: FlaskClient, path: str) -> None:
    assert client.get(path).status_code == 404


def test_nothing_is_changed_without_a_signature_or_from_a_page_of_a_stranger(client: FlaskClient, base: Base) -> None:
    address, form = form_of(client, "site", SITE)
    unsigned = client.post(address, data={**form, "name": "Ela", "who": " "})
    foreign = client.post(address, data={**form, "name": "Ela", "token": "x"})
    assert (unsigned.status_code, foreign.status_code, things(base, "site")[SITE]["name"]) == (400, 403, "Amo")


def test_an_empty_programme_says_what_is_missing(tmp_path: Path) -> None:
    fresh = create_app(Base.create(tmp_path / "fresh", "Amo")).test_client()
    page = fresh.get("/programme").text
    assert "No permit is entered yet" in page and "No planting day is written down yet" in page
