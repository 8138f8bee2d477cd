"""A matter is settled on its page, says so, and can be taken back."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from fieldkit.base import Base, MatterRow
from fieldkit.ledger import sha256
from fieldkit.server import create_app
from tests.server.asking import Page, token_of
from tests.support.programme import Reef, base_of, name


def open_matter(base: Base, kind: str) -> MatterRow:
    with base.view() as view:
        return next(matter for matter in view.matters() if matter.kind == kind)


def states(base: Base) -> dict[str, str]:
    with base.view() as view:
        return {coral["tag"]: coral["fate"] for coral in view.corals()}


def says(client: FlaskClient, matter: MatterRow, text: str) -> str:
    """What the button of that text on the matter's card says."""
    card = client.get("/matters").text.partition(f'id="m-{matter.id}"')[2]
    found = re.search(rf'value="([^"]+)"[^>]*>{re.escape(text)}<', card)
    assert found, f"no button “{text}”"
    return unescape(found[1])


def press(client: FlaskClient, matter: MatterRow, said: str, **form: str) -> TestResponse:
    given = {"token": token_of(client.get("/matters").text), "who": "EA", "says": said, **form}
    return client.post(f"/matters/{matter.id}/answer", data=given)


def test_saying_who_is_right_settles_a_double(client: FlaskClient, base: Base) -> None:
    matter = open_matter(base, "double")
    press(client, matter, says(client, matter, "KT is right: Alive"))
    assert states(base)["101"] == "alive"


def test_the_suggested_coral_of_a_misread_tag_is_one_press(client: FlaskClient, base: Base) -> None:
    matter = open_matter(base, "tag")
    press(client, matter, says(client, matter, "It is 103"))
    assert states(base)["103"] == "alive"


def test_after_an_answer_the_page_goes_on_at_the_next_matter(client: FlaskClient, base: Base) -> None:
    cards = [str(given["id"]) for given in Page(client.get("/matters").text).all("article")]
    tag = open_matter(base, "tag")
    assert cards[0] == f"m-{tag.id}"
    where = urlsplit(press(client, tag, says(client, tag, "It is 103")).headers["Location"])
    assert (where.path, parse_qs(where.query)["done"], where.fragment) == ("/matters", [tag.id], cards[1])


def test_an_answer_can_be_undone_at_once(client: FlaskClient, base: Base) -> None:
    before, matter = states(base), open_matter(base, "tag")
    page = client.get(press(client, matter, says(client, matter, "It is 103")).headers["Location"]).text
    client.post(f"/matters/{matter.id}/retract", data={"token": token_of(page), "who": "EA"})
    assert (states(base), open_matter(base, "tag").id) == (before, matter.id)


def test_what_was_settled_stands_in_a_fold_with_who_why_and_what(client: FlaskClient, base: Base) -> None:
    matter = open_matter(base, "tag")
    press(client, matter, says(client, matter, "It is 103"), why="the photo shows it")
    fold = client.get("/matters").text.partition('class="settled"')[2]
    assert [word for word in ("1 settled", "It is 103.", "EA", "the photo shows it", "Take it back") if word not in fold] == []


def test_whoever_settles_a_matter_signs_it(client: FlaskClient, base: Base) -> None:
    matter = open_matter(base, "tag")
    answer = press(client, matter, says(client, matter, "It is 103"), who=" ")
    assert (answer.status_code, open_matter(base, "tag").id) == (400, matter.id)


def test_a_signature_is_remembered(client: FlaskClient, base: Base) -> None:
    matter = open_matter(base, "tag")
    press(client, matter, says(client, matter, "It is 103"), who="Ñ. É.")
    assert 'name="who" value="Ñ. É."' in client.get("/matters").text


@pytest.mark.parametrize("said", ["answer=swap", "answer=place", "answer=place&coral=999", "", "answer=stands"])
def test_an_answer_that_does_not_fit_changes_nothing_and_says_what_would_do(client: FlaskClient, base: Base, said: str) -> None:
    before, matter = states(base), open_matter(base, "tag")
    answer = press(client, matter, said)
    assert (answer.status_code, "faults" in answer.text, states(base)) == (400, True, before)


def test_a_matter_that_is_gone_is_told_so(client: FlaskClient, base: Base) -> None:
    gone = MatterRow("f" * 64, "tag", (), open_matter(base, "tag").why, "", (), None, None, {}, (), None)
    assert press(client, gone, "answer=stands").status_code == 400


def test_a_matter_can_be_answered_with_a_value_that_nobody_noted(client: FlaskClient, base: Base) -> None:
    press(client, open_matter(base, "double"), "answer=use", **{"pick.status": "=missing"})
    assert states(base)["101"] == "missing"


def test_the_matters_of_one_session_can_be_shown_alone(client: FlaskClient, base: Base) -> None:
    with base.view() as view:
        rs = next(id_ for id_, row in view.sessions().items() if row.session.values.get("recorder") == "RS")
    assert len(Page(client.get(f"/matters?session={rs}").text).all("article")) == 1


def test_enter_in_a_text_field_settles_nothing(client: FlaskClient) -> None:
    """The first button of a form is what Enter presses: it is one that cannot be pressed."""
    for form in client.get("/matters").text.split("<form")[1:]:
        if "/answer" in form:
            first = re.search(r"<button[^>]*>", form)
            assert first and "disabled" in first[0]


def test_nothing_open_is_said_in_words(client: FlaskClient, base: Base) -> None:
    for kind in ("tag", "double"):
        matter = open_matter(base, kind)
        press(client, matter, says(client, matter, "Set aside: it counts nowhere"))
    assert "Nothing is open" in client.get("/matters").text


def test_whoever_settles_the_matters_of_one_session_stays_with_them(client: FlaskClient, base: Base) -> None:
    matter = open_matter(base, "double")
    with base.view() as view:
        session = next(view.observations(matter.of)).session
    page = client.get(f"/matters?session={session}").text
    action = re.search(rf'action="(/matters/{matter.id}/answer[^"]+)"', page)
    assert action
    given = {"token": token_of(page), "who": "EA", "says": says(client, matter, "KT is right: Alive")}
    assert f"session={session}" in client.post(unescape(action[1]), data=given).headers["Location"]


def with_camera_off() -> Reef:
    """Two dives of one phone on 1 June 2024, half an hour apart, whose photos a camera dates to the evening before."""
    made = Reef({"A": 3})
    for dive, hour in (("KT", 21), ("RS", 22)):
        book = made.dive(dive, "2024-06-01", device=name("phone"))
        row = made.see(book, "101", "alive").values["row"]
        shown = {"row": row, "photo": sha256(dive.encode()), "bytes": 1, "type": "image/jpeg", "view": "whole"}
        book.say("photo", {**shown, "camera_time": f"2024-05-31T{hour}:00:00"})
    return made


def clock_matters(base: Base) -> list[MatterRow]:
    with base.view() as view:
        return [matter for matter in view.matters() if matter.kind == "photo_time"]


def test_what_a_watch_shows_puts_the_clock_right_for_all_photos_of_a_session(tmp_path: Path) -> None:
    made = with_camera_off()
    base = base_of(tmp_path / "base", made.entries(), [made.protocol])
    matter = clock_matters(base)[0]
    told = {"camera_told": "2024-05-31T21:00:00", "true_time": "2024-06-01T09:10:30"}
    press(create_app(base).test_client(), matter, "answer=clock", **told)
    with base.view() as view:
        (ruling,) = view.ledger.of_kind("ruling")
    assert (ruling.values["answer"], ruling.values["offset_s"]) == ("clock", str(12 * 3600 + 630))
    assert matter.id not in {one.id for one in clock_matters(base)}


def test_an_offset_once_ruled_is_suggested_for_the_other_sessions_of_its_device(tmp_path: Path) -> None:
    made = with_camera_off()
    base = base_of(tmp_path / "base", made.entries(), [made.protocol])
    client = create_app(base).test_client()
    first, other = clock_matters(base)
    press(client, first, "answer=clock&offset_s=43230")
    press(client, other, says(client, other, "Move its photos by +12:00:30"))
    assert clock_matters(base) == []


def test_a_time_that_cannot_be_read_is_refused_as_it_was_written(tmp_path: Path) -> None:
    made = with_camera_off()
    base = base_of(tmp_path / "base", made.entries(), [made.protocol])
    client = create_app(base).test_client()
    answer = press(client, clock_matters(base)[0], "answer=clock", camera_told="2024-05-31T21:00:00", true_time="nine")
    assert (answer.status_code, "“nine”" in answer.text) == (400, True)


def test_alike_matters_are_settled_by_one_press_and_taken_back_by_one(tmp_path: Path) -> None:
    made = with_camera_off()
    base = base_of(tmp_path / "base", made.entries(), [made.protocol])
    client = create_app(base).test_client()
    where = press(client, clock_matters(base)[0], "answer=clock&offset_s=43230", alike="yes").headers["Location"]
    page = client.get(where).text
    assert (clock_matters(base), "2 matters settled" in page) == ([], True)
    done = parse_qs(urlsplit(where).query)["done"][0]
    client.post(f"/matters/{done}/retract", data={"token": token_of(page), "who": "EA", "together": "yes"})
    assert len(clock_matters(base)) == 2


def test_the_page_tells_how_far_settling_moves_survival_and_how_far_before(client: FlaskClient, base: Base) -> None:
    assert "lies between 0.0% and" in client.get("/matters").text
    matter = open_matter(base, "double")
    page = client.get(press(client, matter, says(client, matter, "KT is right: Alive")).headers["Location"]).text
    assert "Before the last answer: 0.0% to" in page


def test_a_clock_put_right_shows_on_the_photos_of_a_coral(tmp_path: Path) -> None:
    made = with_camera_off()
    base = base_of(tmp_path / "base", made.entries(), [made.protocol])
    client = create_app(base).test_client()
    assert "</strong> 21:00 KT" in client.get(f"/corals/{made.coral('101')}").text
    press(client, clock_matters(base)[0], "answer=clock&offset_s=43230", alike="yes")
    page = client.get(f"/corals/{made.coral('101')}").text
    assert ("</strong> 09:00 KT" in page, "</strong> 10:00 RS" in page) == (True, True)


def test_a_coral_of_another_plot_whose_tag_was_read_can_be_picked(tmp_path: Path) -> None:
    made = Reef()
    made.see(made.dive("KT", "2024-06-01"), "201")
    page = create_app(base_of(tmp_path / "base", made.entries(), [made.protocol])).test_client().get("/matters").text
    assert f'<option value="{made.coral("201")}">201 (B)</option>' in page
