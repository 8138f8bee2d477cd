"""The page of agreement: what it says, and that it is for training."""

from __future__ import annotations

import re
from pathlib import Path

from flask.testing import FlaskClient

from fieldkit.server import create_app
from tests.support.programme import Reef, base_of


def words(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.partition("<main")[2]))


def client(folder: Path, made: Reef) -> FlaskClient:
    return create_app(base_of(folder / "base", made.entries(), [made.protocol])).test_client()


def doubled() -> Reef:
    made = Reef({"A": 4})
    for who, dead in (("KT", "103"), ("RS", "104")):
        book = made.dive(who, "2024-06-01")
        for tag in ("101", "102", "103", "104"):
            made.see(book, tag, "dead" if tag == dead else "alive")
    return made


def test_the_headline_is_how_much_agrees(tmp_path: Path) -> None:
    assert "50.0% of all that two people noted of one coral agrees" in words(client(tmp_path, doubled()).get("/agreement").text)


def test_that_it_is_for_training_stands_on_top(tmp_path: Path) -> None:
    told = words(client(tmp_path, doubled()).get("/agreement").text)
    assert "It ranks nobody" in told.partition("By field")[0]


def test_a_field_is_told_recorder_by_recorder(tmp_path: Path) -> None:
    told = words(client(tmp_path, doubled()).get("/agreement?field=status").text)
    assert "Condition: recorder by recorder" in told and "KT · RS" in told


def test_a_field_of_which_nothing_was_compared_is_refused_with_those_that_are_known(tmp_path: Path) -> None:
    answer = client(tmp_path, doubled()).get("/agreement?field=colour")
    assert answer.status_code == 400 and "Known: status." in words(answer.text)


def test_where_one_class_holds_nearly_all_the_page_says_so(tmp_path: Path) -> None:
    made = Reef({"A": 8})
    for who in ("KT", "RS"):
        book = made.dive(who, "2024-06-01")
        for i in range(8):
            made.see(book, f"{101 + i}", "dead" if (who, i) == ("RS", 7) else "alive")
    assert "“Alive” is 93.8% of all values" in words(client(tmp_path, made).get("/agreement").text)


def test_months_are_told_of_all_fields_and_of_the_one_that_is_shown(tmp_path: Path) -> None:
    made = doubled()
    for who, size in (("KT", "10"), ("RS", "20")):
        made.see(made.dive(who, "2024-09-01"), "101", size_cm=size)
    told = words(client(tmp_path, made).get("/agreement?field=size_cm").text)
    assert "All fields together Month KT RS Sep 2024 50.0% of 2" in told
    assert "Greatest width alone Month KT RS Sep 2024 0.0% of 1" in told


def test_names_from_a_slate_stay_words(tmp_path: Path) -> None:
    made = doubled()
    book = made.dive("<b>X</b>", "2024-06-01")
    made.see(book, "101")
    page = client(tmp_path, made).get("/agreement").text
    assert "&lt;b&gt;X&lt;/b&gt;" in page and "<b>X</b>" not in page


def test_a_base_without_doubles_says_what_to_do(tmp_path: Path) -> None:
    made = Reef({"A": 1})
    made.see(made.dive("KT", "2024-06-01"), "101")
    assert "Ask a second recorder" in words(client(tmp_path, made).get("/agreement").text)


def test_the_page_speaks_spanish(tmp_path: Path) -> None:
    told = words(client(tmp_path, doubled()).get("/agreement?lang=es").text)
    assert "Concordancia" in told and "No clasifica a nadie" in told
