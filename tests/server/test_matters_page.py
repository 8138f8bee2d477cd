"""A matter is settled on its page, says so, and can be taken back."""

from __future__ import annotations

import re
from html import unescape

import pytest
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from fieldkit.base import Base, MatterRow
from tests.server.asking import Page, token_of


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
    assert press(client, tag, says(client, tag, "It is 103")).headers["Location"] == f"/matters?done={tag.id}#{cards[1]}"


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
