"""One picture on two corals is told of both, whether its bytes are the same or it came in anew."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path

import pytest

from fieldkit.base import Base
from fieldkit.ledger import sha256
from fieldkit.reports.lookalikes import Shows, claimed_besides, is_of_several, same_pictures
from fieldkit.server import create_app
from tests.photos.test_looks import changed, taken
from tests.support.programme import Reef, base_of, name

PHOTO, OTHER = taken(2)
AGAIN = changed(PHOTO, scale=0.5)


def photographed(reef: Reef, tag: str, photo: bytes, called: str = "KT", day: str = "2024-06-01") -> None:
    book = reef.dive(called, day)
    row = reef.see(book, tag)
    told = {"photo": sha256(photo), "row": row.values["row"], "bytes": len(photo), "type": "image/jpeg", "view": "whole"}
    book.say("photo", told)


def base(folder: Path, reef: Reef) -> Base:
    made = base_of(folder / "base", reef.entries(), [reef.protocol])
    for photo in (PHOTO, OTHER, AGAIN):
        made.photos.put(BytesIO(photo), sha256(photo))
    made.looks.catch_up(10)
    return made


def of(claims: list[Shows]) -> list[str]:
    return [one.called for one in claims]


def claims(reef: Reef, tag: str) -> str:
    link = f'<a class="tag small" href="/corals/{reef.coral(tag)}">{tag}</a>'
    return f"The same picture is also said to show</span> {link}"


@pytest.mark.parametrize("second", [PHOTO, AGAIN])
def test_one_picture_claimed_by_two_tags_is_told_of_both(tmp_path: Path, second: bytes) -> None:
    reef = Reef()
    photographed(reef, "101", PHOTO)
    photographed(reef, "102", OTHER, "MO")
    photographed(reef, "103", second, "RS")
    made = base(tmp_path, reef)
    with made.view() as view:
        (found,) = same_pictures(view, made.looks)
        besides = claimed_besides(view, made.looks, [sha256(PHOTO)])
    assert (of(found), is_of_several(found), sorted(of(besides[sha256(PHOTO)]))) == (["101", "103"], True, ["101", "103"])


def test_pictures_of_several_corals_come_before_those_kept_twice_of_one(tmp_path: Path) -> None:
    reef = Reef()
    photographed(reef, "101", OTHER, "MO")
    photographed(reef, "102", OTHER, "MO", "2024-07-01")
    photographed(reef, "103", PHOTO, "RS", "2024-08-01")
    photographed(reef, "103", AGAIN, "RS", "2024-09-01")
    made = base(tmp_path, reef)
    with made.view() as view:
        found = same_pictures(view, made.looks)
    assert [(of(claims), is_of_several(claims)) for claims in found] == [(["101", "102"], True), (["103", "103"], False)]


def test_the_card_of_a_misread_tag_tells_which_coral_the_same_picture_shows(tmp_path: Path) -> None:
    reef = Reef()
    photographed(reef, "1O2", PHOTO)
    photographed(reef, "102", AGAIN, "RS", "2024-08-01")
    page = create_app(base(tmp_path, reef)).test_client().get("/matters").text
    assert (
        f'The same picture is also said to show</span> <a class="tag small" href="/corals/{reef.coral("102")}">102</a>' in page
    )


def test_a_corals_page_puts_a_picture_beside_its_like_and_names_the_coral_that_claims_it_too(tmp_path: Path) -> None:
    reef = Reef()
    photographed(reef, "101", PHOTO)
    photographed(reef, "101", OTHER, "MO", "2024-07-01")
    photographed(reef, "101", AGAIN, "RS", "2024-08-01")
    photographed(reef, "103", PHOTO, "NL", "2024-08-01")
    page = create_app(base(tmp_path, reef)).test_client().get(f"/corals/{reef.coral('101')}").text
    places = [page.index(f'/photos/{sha256(photo)}/320"') for photo in (PHOTO, AGAIN, OTHER)]
    assert (places, "Shows the same as the one of 1 Jun 2024, KT." in page) == (sorted(places), True)
    assert (
        f'The same picture is also said to show</span> <a class="tag small" href="/corals/{reef.coral("103")}">103</a>' in page
    )


def test_the_list_of_pictures_handed_in_twice_names_what_each_is_said_to_show(tmp_path: Path) -> None:
    reef = Reef()
    photographed(reef, "101", PHOTO)
    photographed(reef, "103", AGAIN, "RS")
    client = create_app(base(tmp_path, reef)).test_client()
    page = client.get("/photos/alike").text
    assert ("101, 103" in page, "said to show several corals" in page, name("nobody") in page) == (True, True, False)
    assert "Ninguna" in create_app(base_of(tmp_path / "empty")).test_client().get("/photos/alike?lang=es").text
