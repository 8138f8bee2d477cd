"""Which slates of a visit are compared: those that share a plot, and those whose rows name none."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldkit.base import Base
from tests.support.programme import Book, Reef, base_of, name

TAGS = ("101", "102", "103", "104", "105")


@pytest.fixture
def reef() -> Reef:
    return Reef({"A": 5})


def typed(reef: Reef, called: str, **where: str) -> None:
    """One slate, typed by somebody; its rows name corals by id."""
    said = {"site": reef.site, "day": "2024-06-01", "protocol": reef.protocol.digest, "recorder": "EA"}
    book = Book(called, **said)
    reef.books.append(book)
    for i, tag in enumerate(TAGS):
        row = {
            "row": name("row", called, i),
            "coral": reef.coral(tag),
            "status": "alive",
            "size_cm": f"1{i}.5",
            "note": f"by {tag}",
        }
        book.say("observation", {**row, **where})


def asked(base: Base) -> list[str]:
    with base.view() as view:
        return [matter.kind for matter in view.matters() if matter.kind == "same_slate"]


def test_two_typings_of_one_slate_of_a_plot_are_asked_about(reef: Reef, tmp_path: Path) -> None:
    for called in ("one", "again"):
        typed(reef, called, plot=reef.plot("A"))
    assert asked(base_of(tmp_path / "base", reef.entries(), [reef.protocol])) == ["same_slate"]


def test_two_typings_of_a_slate_whose_rows_name_no_plot_are_asked_about(reef: Reef, tmp_path: Path) -> None:
    for called in ("one", "again"):
        typed(reef, called)
    assert asked(base_of(tmp_path / "base", reef.entries(), [reef.protocol])) == ["same_slate"]


def test_a_protocol_that_comes_with_what_was_written_under_it_is_reckoned_with(reef: Reef, tmp_path: Path) -> None:
    typed(reef, "one", plot=reef.plot("A"))
    giver = base_of(tmp_path / "giver", reef.entries(), [reef.protocol])
    giver.carry(tmp_path / "carried.zip")
    taker, _ = Base.join(tmp_path / "taker", tmp_path / "carried.zip")
    with giver.view() as told, taker.view() as heard:
        assert heard.digest() == told.digest()
        assert heard.fates() == {"counted": 5}
