"""Boat days as they came in."""

from __future__ import annotations

import re
from io import BytesIO
from pathlib import Path

from flask.testing import FlaskClient

from fieldkit.access import Access
from fieldkit.base import Base
from fieldkit.ledger import sha256
from fieldkit.server import create_app
from tests.server.asking import reef
from tests.support.programme import Reef, base_of, name


def page(folder: Path, made: Reef) -> str:
    client: FlaskClient = create_app(base_of(folder / "base", made.entries(), [made.protocol])).test_client()
    return words(client.get("/days").text)


def words(page: str) -> str:
    """What is read on a page, in one line."""
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.partition("<main")[2]))


def taken_out(made: Reef, *plots: str) -> None:
    ids = [made.plot(plot) for plot in plots]
    said = {"boat_day": name("boat day"), "day": "2024-06-01", "site": made.site, "plots": ids, "crew": [], "sheets": ["7"]}
    made.lead("boat day").say("boat_day", said)


def test_what_was_taken_out_and_did_not_come_back_is_said_first(tmp_path: Path) -> None:
    made = reef()
    taken_out(made, "A", "B")
    assert "1 Jun 2024: 1 plot still out." in page(tmp_path, made)


def test_that_all_is_back_is_said_too(tmp_path: Path) -> None:
    made = reef()
    taken_out(made, "A")
    assert "1 Jun 2024: everything that was taken out is back." in page(tmp_path, made)


def session_of_three(made: Reef, *, lost: int | None = None, closed: bool = True) -> Reef:
    """A session that holds its opening and two rows, and says so; entry number `lost` did not come in."""
    book = made.dive("KT", "2024-06-01")
    made.see(book, "101")
    made.see(book, "102")
    if closed:
        book.say("close", {"n": 3, "sum": "0" * 64, "photos": 0})
    if lost is not None:
        del book.entries[lost]
    return made


def test_a_session_that_is_all_here_is_whole(tmp_path: Path) -> None:
    assert "whole (3 entries)" in page(tmp_path, session_of_three(Reef({"A": 3})))


def test_of_a_session_that_came_in_part_it_is_told_how_much(tmp_path: Path) -> None:
    told = page(tmp_path, session_of_three(Reef({"A": 3}), lost=1))
    assert "2 of 3 entries" in told and "1 session not whole" in told


def test_a_session_that_was_not_closed_is_told_as_open(tmp_path: Path) -> None:
    assert "3 entries so far, not closed" in page(tmp_path, session_of_three(Reef({"A": 3}), closed=False))


def test_practice_is_marked(tmp_path: Path) -> None:
    made = Reef({"A": 3})
    made.see(made.dive("KT", "2024-06-01", practice=True), "101")
    assert "practice, outside every figure" in page(tmp_path, made)


def test_a_photo_that_did_not_come_in_is_told(tmp_path: Path) -> None:
    made = Reef({"A": 3})
    book = made.dive("KT", "2024-06-01")
    row = made.see(book, "101").values["row"]
    book.say("photo", {"row": row, "photo": "0" * 64, "bytes": 1, "type": "image/jpeg", "view": "whole"})
    assert "0 of 1 here" in page(tmp_path, made)


def test_whoever_typed_for_somebody_else_is_named(tmp_path: Path) -> None:
    made = Reef({"A": 3})
    made.see(made.dive("KT", "2024-06-01", typed_by="NL"), "101")
    assert "typed by NL" in page(tmp_path, made)


def test_open_matters_of_a_session_are_one_press_away(client: FlaskClient, base: Base) -> None:
    with base.view() as view:
        rs = next(id_ for id_, row in view.sessions().items() if row.session.values.get("recorder") == "RS")
    assert f'href="/matters?session={rs}"' in client.get("/days").text


def test_an_empty_base_says_what_to_do(tmp_path: Path) -> None:
    assert "fieldkit merge FILE" in words(create_app(base_of(tmp_path / "base")).test_client().get("/days").text)


def test_corals_left_out_of_a_plot_are_named(tmp_path: Path) -> None:
    made = Reef({"A": 3})
    made.see(made.dive("KT", "2024-06-01"), "101")
    assert "2 of 3 corals have no row: 102 , 103" in page(tmp_path, made)


def test_a_device_is_called_by_its_name_with_what_it_still_holds(tmp_path: Path) -> None:
    base = base_of(tmp_path / "base")
    access = Access(base.folder)
    phone, _ = access.devices.pair(access.devices.invite("crew"), "Tide table phone", "192.168.8.7")
    made = Reef({"A": 1})
    made.see(made.dive("KT", "2024-06-01"), "101")
    base.keep_protocol(made.protocol.body)
    base.receive(made.entries(), source="test")
    access.devices.told(phone, its_clock=0, unsent_entries=4, unsent_photos=1)
    told = words(create_app(base).test_client().get("/days").text)
    assert "Tide table phone : 4 entries, 1 photo" in told


def test_the_moment_changes_with_whatever_comes_in_and_only_then(tmp_path: Path) -> None:
    made = Reef({"A": 1})
    base = base_of(tmp_path / "base", made.entries(), [made.protocol])
    client = create_app(base).test_client()
    before = client.get("/days/moment").text
    assert (client.get("/days/moment").text, f'data-moment="{before}"' in client.get("/days").text) == (before, True)
    base.photos.put(BytesIO(b"photo"), sha256(b"photo"))
    with_photo = client.get("/days/moment").text
    later = made.dive("KT", "2024-06-01")
    base.receive(later.entries, source="test")
    assert len({before, with_photo, client.get("/days/moment").text}) == 3


def test_a_sheet_that_did_not_come_back_by_its_evening_is_missing(tmp_path: Path) -> None:
    made = reef()
    plots = {
        "plots": [made.plot(plot) for plot in "AB"],
        "sheets": ["7", "8"],
        "sheet_plots": [made.plot(plot) for plot in "AB"],
    }
    made.lead("boat day").say("boat_day", {"boat_day": name("boat day"), "day": "2024-06-01", "site": made.site, **plots})
    told = page(tmp_path, made)
    assert ("7 A in" in told, "8 B missing" in told) == (True, True)
