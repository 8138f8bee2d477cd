"""Matters as people are shown them: what belongs to each, the most valuable first."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldkit.base import Base
from fieldkit.reports.matters import Card, cards
from tests.support.programme import Reef, base_of

JUNE, DECEMBER = "2024-06-01", "2024-12-01"


def shown(folder: Path, reef: Reef, **asked: bool) -> list[Card]:
    base = base_of(folder / "base", reef.entries(), [reef.protocol])
    with base.view() as view:
        return cards(view, **asked)


def differing(reef: Reef, **fields: tuple[str, str]) -> None:
    """Two who differ about coral 101 in December, which was seen in June."""
    reef.see(reef.dive("kai", JUNE), "101", size_cm="10", bleaching="none")
    for i, who in enumerate(("kai", "noa")):
        reef.see(reef.dive(who, DECEMBER), "101", **{name: values[i] for name, values in fields.items()})


def test_a_card_tells_where_it_is_and_which_coral_it_is_about(tmp_path: Path) -> None:
    reef = Reef()
    differing(reef, size_cm=("12", "19"))
    (card,) = shown(tmp_path, reef)
    assert (card.site, card.plot, card.corals) == ("Amo", "A", ("101",))


def test_a_card_tells_who_said_what_and_when(tmp_path: Path) -> None:
    reef = Reef()
    differing(reef, size_cm=("12", "19"))
    (card,) = shown(tmp_path, reef)
    told = {(seen.recorder, seen.day, seen.noted, seen.values["size_cm"]) for seen in card.seen}
    assert told == {("kai", DECEMBER, "101", "12"), ("noa", DECEMBER, "101", "19")}


def test_a_card_tells_what_the_last_visit_said_of_the_fields_in_question(tmp_path: Path) -> None:
    reef = Reef()
    differing(reef, size_cm=("12", "19"))
    (card,) = shown(tmp_path, reef)
    assert card.last_visit == {"day": JUNE, "state": "alive", "size_cm": "10"}


def test_what_moves_a_figure_is_shown_before_what_does_not(tmp_path: Path) -> None:
    reef = Reef()
    differing(reef, size_cm=("12", "19"))
    for who, status in (("kai", "alive"), ("noa", "dead")):
        reef.see(reef.dive(who, "2025-06-01"), "102", status)
    assert [list(card.matter.fields) for card in shown(tmp_path, reef)] == [["status"], ["size_cm"]]


def test_settled_matters_are_shown_where_they_are_asked_for(tmp_path: Path) -> None:
    reef = Reef()
    differing(reef, size_cm=("12", "19"))
    seen = [entry.digest for entry in reef.entries() if entry.kind == "observation"][1:]
    values = {"matter": "double", "of": sorted(seen), "answer": "use", "fields": {"size_cm": "12"}}
    reef.lead("lead").say("ruling", values)
    assert [len(shown(tmp_path / str(settled), reef, settled=settled)) for settled in (False, True)] == [0, 1]


def test_a_matter_about_sessions_shows_them(tmp_path: Path) -> None:
    reef = Reef({"A": 9})
    sessions = []
    for who in ("kai", "again"):
        dive = reef.dive(who, JUNE, recorder="kai")
        sessions.append(dive.session)
        for i in range(9):
            reef.see(dive, f"{101 + i}", size_cm=f"{11.3 + i}", live_tissue=f"{60 + i}")
    (card,) = [card for card in shown(tmp_path, reef) if card.matter.kind == "same_slate"]
    assert {row.session.id for row in card.sessions} == set(sessions)


def test_of_a_slate_typed_twice_one_matter_is_shown_and_none_for_its_rows(tmp_path: Path) -> None:
    reef = Reef({"A": 9})
    for who, slip in (("kai", "11.3"), ("again", "1.3")):
        dive = reef.dive(who, JUNE, recorder="kai")
        for i in range(9):
            reef.see(dive, f"{101 + i}", size_cm=slip if i == 0 else f"{11.3 + i}", live_tissue=f"{60 + i}")
    assert [card.matter.kind for card in shown(tmp_path, reef)] == ["same_slate"]


@pytest.mark.parametrize("keep", [0, 1])
def test_the_typing_that_is_kept_gives_the_size(tmp_path: Path, keep: int) -> None:
    reef = Reef({"A": 9})
    sessions = []
    for who, slip in (("kai", "11.3"), ("again", "1.3")):
        dive = reef.dive(who, JUNE, recorder="kai")
        sessions.append(dive.session)
        for i in range(9):
            reef.see(dive, f"{101 + i}", size_cm=slip if i == 0 else f"{11.3 + i}", live_tissue=f"{60 + i}")
    said = {"matter": "same_slate", "of": sorted(sessions), "answer": "same_slate", "keep": sessions[keep]}
    reef.lead("lead").say("ruling", said)
    base: Base = base_of(tmp_path / "base", reef.entries(), [reef.protocol])
    with base.view() as view:
        assert cards(view) == []
        assert view.seen([reef.coral("101")])[0]["said"]["values"]["size_cm"] == ("11.3", "1.3")[keep]
