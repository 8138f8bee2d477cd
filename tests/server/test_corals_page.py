"""Corals found on a page, and the life of one: what is read, what is refused, and that nothing noted becomes markup."""

from __future__ import annotations

import re
from io import BytesIO
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from PIL import Image

from fieldkit.base import Answer, Base, statement
from fieldkit.ledger import sha256
from fieldkit.server import create_app
from tests.server.asking import Page
from tests.support.programme import Reef, base_of, name


def words(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.partition("<main")[2]))


def base(folder: Path, made: Reef) -> Base:
    return base_of(folder / "base", made.entries(), [made.protocol])


def client(folder: Path, made: Reef) -> FlaskClient:
    return create_app(base(folder, made)).test_client()


def lived() -> Reef:
    """101 grew, broke and was found dead; 102 is in dispute."""
    made = Reef({"A": 3, "B": 2})
    made.see(made.dive("KT", "2024-06-01"), "101", size_cm="12", bleaching="pale")
    made.see(made.dive("KT", "2024-09-01"), "101", size_cm="9.5", breakage="branch")
    made.see(made.dive("KT", "2024-12-01"), "101", "dead", cause="heat")
    made.see(made.dive("KT", "2025-03-01"), "102")
    made.see(made.dive("RS", "2025-03-01"), "102", "missing")
    return made


def life(folder: Path, made: Reef, tag: str = "101", language: str = "en") -> str:
    return client(folder, made).get(f"/corals/{made.coral(tag)}?lang={language}").text


def test_a_list_links_to_each_life(tmp_path: Path) -> None:
    made = lived()
    page = Page(client(tmp_path, made).get("/corals?plot=A").text)
    links = [link["href"] for link in page.all("a") if str(link["href"]).startswith("/corals/")]
    assert links == [f"/corals/{made.coral(tag)}" for tag in ("101", "102", "103")]


def test_a_misread_tag_offers_the_corals_that_it_may_be(tmp_path: Path) -> None:
    told = words(client(tmp_path, lived()).get("/corals?tag=1O2").text)
    assert "No coral is called so" in told and "A tag that was misread may be one of these: " in told and " 102 " in told


def test_the_next_page_keeps_what_is_looked_for(tmp_path: Path) -> None:
    page = Page(client(tmp_path, Reef({"A": 60})).get("/corals?plot=A&fate=not_seen").text)
    (following,) = [link["href"] for link in page.all("a") if link.get("rel") == "next"]
    assert following == "/corals?page=2&plot=A&fate=not_seen"


@pytest.mark.parametrize("asked", ["fate=old", "page=x", "page=-1", "page=99999999999", f"tag={'1' * 101}"])
def test_what_cannot_be_asked_is_refused_with_a_reason(asked: str, tmp_path: Path) -> None:
    assert client(tmp_path, lived()).get(f"/corals?{asked}").status_code == 400


@pytest.mark.parametrize("id_", ["x", "../days", "0" * 64, name("nobody")])
def test_there_is_no_page_of_a_coral_that_is_none(id_: str, tmp_path: Path) -> None:
    assert client(tmp_path, lived()).get(f"/corals/{id_}").status_code == 404


def test_a_life_tells_when_the_coral_died_as_the_figure_has_it(tmp_path: Path) -> None:
    told = words(life(tmp_path, lived()))
    assert told.count("Lost after 1 Sep 2024 (184 days) and by 1 Dec 2024 (275 days)") == 2


def test_missing_is_told_both_ways(tmp_path: Path) -> None:
    made = Reef({"A": 1})
    made.see(made.dive("KT", "2024-06-01"), "101", "missing")
    told = words(life(tmp_path, made))
    assert "Missing counted as lost Lost after 1 Mar 2024" in told and "Missing left open Lived to 1 Mar 2024" in told


def test_values_are_told_in_words(tmp_path: Path) -> None:
    told = words(life(tmp_path, lived()))
    assert "Condition Alive" in told and "Bleaching Pale" in told and "Greatest width 9.5 cm" in told


def test_shrinking_is_shown_as_such(tmp_path: Path) -> None:
    page = life(tmp_path, lived())
    assert 'class="size shrinks"' in page and 'class="broken"' in page and "-2.5" in words(page)


def test_an_open_matter_is_one_press_away(tmp_path: Path) -> None:
    made = lived()
    served = client(tmp_path, made)
    page = Page(served.get(f"/corals/{made.coral('102')}").text)
    (link, *_) = [link["href"] for link in page.all("a") if str(link["href"]).startswith("/matters?")]
    matter = served.get(str(link).partition("#")[0]).text
    assert len(Page(matter).all("article")) == 1 and "Only this one is shown." in words(matter)


def test_a_ruling_stands_beside_what_it_was_about(tmp_path: Path) -> None:
    made = lived()
    base_ = base(tmp_path, made)
    with base_.view() as view:
        (matter,) = view.matters()
        said = statement(base_, view, matter, Answer("use", values={"status": "missing"}, why="searched twice"))
    base_.say([said], recorder="EA")
    told = words(create_app(base_).test_client().get(f"/corals/{made.coral('102')}").text)
    assert "Condition: Missing. EA, " in told and "“searched twice”" in told


def test_photos_stand_side_by_side_as_small_copies(tmp_path: Path) -> None:
    made = lived()
    held = BytesIO()
    Image.new("RGB", (800, 600), "teal").save(held, "JPEG")
    digest = sha256(held.getvalue())
    book = made.books[2]
    book.say(
        "photo", {"row": book.entries[1].values["row"], "photo": digest, "bytes": 1, "type": "image/jpeg", "view": "whole"}
    )
    book.say("photo", {"row": book.entries[1].values["row"], "photo": "0" * 64, "bytes": 1, "type": "image/jpeg"})
    base_ = base(tmp_path, made)
    base_.photos.put(BytesIO(held.getvalue()), digest)
    served = create_app(base_).test_client()
    page = served.get(f"/corals/{made.coral('101')}").text
    sources = {str(image["src"]) for image in Page(page).all("img")}
    assert sources == {f"/photos/{digest}/320"} and served.get(sources.pop(), buffered=True).status_code == 200
    assert "not here yet" in words(page)


def test_what_was_noted_stays_words(tmp_path: Path) -> None:
    made = Reef({"A": 1})
    book = made.dive("<i>KT</i>", "2024-06-01")
    made.see(book, "101", note="<script>alert(1)</script>")
    book.say("action", {"row": name("act"), "coral": made.coral("101"), "done": "<img src=x>", "note": "<b>n</b>"})
    page = life(tmp_path, made)
    assert not re.search(r"<script>alert|<i>KT|<img src=x>|<b>n", page)


def test_a_life_is_told_in_spanish(tmp_path: Path) -> None:
    told = words(life(tmp_path, lived(), language="es"))
    assert "Se perdió después del 1 sept 2024" in told and "Encontrado muerto." in told


def test_a_coral_of_no_protocol_and_no_plot_has_a_page(tmp_path: Path) -> None:
    made = Reef({"A": 1})
    made.lead("stray").say("coral", {"coral": name("stray"), "position": "9"})
    served = client(tmp_path, made)
    assert served.get(f"/corals/{name('stray')}").status_code == 200
    assert "2 corals" in words(served.get("/corals").text)
