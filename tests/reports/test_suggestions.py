"""What the cards of a real base suggest: corals for misread tags, days, sites, and answers that were given before."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from fieldkit.base import Answer, Base, find_matter, statement, take_back
from fieldkit.ledger import Entry
from fieldkit.reports.matters import Card, Suggested, cards
from tests.support.programme import Book, Reef, base_of, name

JUNE, DECEMBER = "2024-06-01", "2024-12-01"


def card_of(base: Base, kind: str) -> Card:
    """The one open matter of that kind, as a card."""
    with base.view() as view:
        (card,) = [card for card in cards(view) if card.matter.kind == kind]
    return card


def suggested(folder: Path, reef: Reef, kind: str) -> Suggested | None:
    return card_of(base_of(folder / "base", reef.entries(), [reef.protocol]), kind).suggestion


def slate(reef: Reef, tags: str, plot: str = "A", day: str = DECEMBER, **values: Any) -> dict[str, Entry]:
    """A session that noted these tags, in this order."""
    dive = reef.dive("kai", day)
    return {tag: reef.see(dive, tag, plot=plot, line=str(i), **values) for i, tag in enumerate(tags.split(), 1)}


# Misread tags.


def test_a_misread_tag_is_suggested_to_be_the_coral_that_was_not_read(tmp_path: Path) -> None:
    reef = Reef({"A": 4})
    slate(reef, "101 1O2 103 104")
    found = suggested(tmp_path, reef, "tag")
    assert found is not None
    assert (found.answer, found.keys, found.label) == ("place", {"coral": reef.coral("102")}, "102")


def test_a_suggestion_says_why_in_words(tmp_path: Path) -> None:
    reef = Reef({"A": 4})
    slate(reef, "101 1O2 103 104")
    found = suggested(tmp_path, reef, "tag")
    assert found is not None
    assert [why.text() for why in found.why] == [
        "102 is the only coral of the plot that was not read in that session.",
        "The glyphs of 1O2 and 102 are taken for each other.",
        "On the slate it stands between 101 and 103, as 102 does in the plot.",
    ]


def test_positions_are_ordered_as_numbers(tmp_path: Path) -> None:
    """Position 10 comes after 9, not after 1."""
    reef = Reef({"A": 11})
    slate(reef, "101 102 103 104 105 106 107 108 1?9 110")
    found = suggested(tmp_path, reef, "tag")
    assert found is not None
    assert "settle.because_between" in [why.key for why in found.why]


def test_a_coral_that_the_session_read_is_not_suggested(tmp_path: Path) -> None:
    reef = Reef({"A": 2})
    slate(reef, "101 102 1O1")
    assert suggested(tmp_path, reef, "tag") is None


def test_a_tag_of_another_plot_of_the_site_is_suggested_with_its_plot(tmp_path: Path) -> None:
    reef = Reef({"A": 4, "B": 4})
    slate(reef, "201 203", plot="B")
    slate(reef, "101 102 202 103 104")
    base = base_of(tmp_path / "base", reef.entries(), [reef.protocol])
    found = card_of(base, "tag").suggestion
    assert found is not None
    assert (found.keys, found.label, [why.text() for why in found.why]) == (
        {"coral": reef.coral("202")},
        "202 (B)",
        [
            "202 hangs in plot B of the same site: the tag may be right, and the row stand under the wrong plot.",
            "There nobody read it on that visit.",
        ],
    )


def test_following_the_suggestion_of_another_plot_moves_the_reading_and_back(tmp_path: Path) -> None:
    reef = Reef()
    slate(reef, "101 102 202 103")
    base = base_of(tmp_path / "base", reef.entries(), [reef.protocol])
    card = card_of(base, "tag")
    with base.view() as view:
        said = statement(base, view, card.matter, Answer("place", coral="202"))  # as people call it, though it is no coral of A
    base.say([said])
    with base.view() as view:
        assert ([row["state"] for row in view.seen([reef.coral("202")])], view.matters()) == (["alive"], [])
        back = take_back(view, view.matters(settled=True)[0])
    base.say([back])
    with base.view() as view:
        assert [one.id for one in view.matters()] == [card.matter.id]


def test_a_tag_of_a_plot_of_another_site_is_not_suggested(tmp_path: Path) -> None:
    reef = Reef({"A": 4, "B": 4})
    slate(reef, "101 102 202 103 104")
    there = reef.lead("another site")
    there.say("site", {"site": name("another"), "name": "Bel"})
    there.say("plot", {"plot": reef.plot("B"), "site": name("another")}, [reef.books[0].entries[-1].digest])
    base = base_of(tmp_path / "base", reef.entries(), [reef.protocol])
    assert card_of(base, "tag").suggestion is None


def test_a_coral_withdrawn_before_is_not_suggested(tmp_path: Path) -> None:
    reef = Reef({"A": 2})
    reef.lead("lead").say("coral", {"coral": reef.coral("102"), "withdrawn_on": JUNE})
    slate(reef, "101 1O2")
    assert suggested(tmp_path, reef, "tag") is None


def test_of_a_tag_that_stands_twice_the_reading_of_the_unread_coral_is_named(tmp_path: Path) -> None:
    reef = Reef({"A": 8})
    sizes = {f"{101 + i}": str(8 + 4 * i) for i in range(8)}
    for day in (JUNE, DECEMBER):
        dive = reef.dive("kai", day)
        seen = {
            tag: reef.see(
                dive, "102" if day == DECEMBER and tag == "107" else tag, line=str(i), size_cm=str(float(size) + i % 3)
            )
            for i, (tag, size) in enumerate(sizes.items())
        }
    found = suggested(tmp_path, reef, "tag")
    assert found is not None
    assert found.keys == {"coral": reef.coral("107"), "observation": seen["107"].digest}


def test_the_suggestion_settles_the_matter(tmp_path: Path) -> None:
    reef = Reef({"A": 4})
    slate(reef, "101 1O2 103 104")
    base = base_of(tmp_path / "base", reef.entries(), [reef.protocol])
    card = card_of(base, "tag")
    assert card.suggestion is not None
    with base.view() as view:
        said = statement(base, view, card.matter, Answer(card.suggestion.answer, **card.suggestion.keys))
    base.say([said])
    with base.view() as view:
        assert cards(view) == []


# Days and sites.


def out_on(reef: Reef, *days: str, plots: tuple[str, ...] = ("A",)) -> None:
    """The lead wrote down that the boat went out on these days."""
    book = reef.lead("boat days")
    for day in days:
        values = {"boat_day": name("boat day", day), "day": day, "site": reef.site, "plots": [reef.plot(one) for one in plots]}
        book.say("boat_day", values)


@pytest.mark.parametrize(
    ("said", "was", "why"),
    [
        ("2024-11-12", "2024-12-11", "swapped_day"),
        ("2023-12-01", "2024-12-01", "year"),
        ("2024-11-01", "2024-12-01", "month"),
        ("2024-12-11", "2024-12-01", "day"),
    ],
)
def test_the_boat_day_that_one_slip_explains_is_suggested(tmp_path: Path, said: str, was: str, why: str) -> None:
    reef = Reef()
    out_on(reef, was, "2025-07-19")
    slate(reef, "101", day=said)
    found = suggested(tmp_path, reef, "date")
    assert found is not None
    assert (found.answer, found.keys, [one.key for one in found.why]) == ("day", {"day": was}, [f"settle.because_{why}"])


def test_a_day_has_no_probability(tmp_path: Path) -> None:
    reef = Reef()
    out_on(reef, DECEMBER)
    slate(reef, "101", day="2023-12-01")
    found = suggested(tmp_path, reef, "date")
    assert found is not None
    assert found.probability is None


def test_a_day_that_no_single_slip_explains_is_not_suggested(tmp_path: Path) -> None:
    reef = Reef()
    out_on(reef, DECEMBER)
    slate(reef, "101", day="2023-11-30")
    assert suggested(tmp_path, reef, "date") is None


def test_of_two_boat_days_that_explain_it_alike_none_is_suggested(tmp_path: Path) -> None:
    reef = Reef()
    out_on(reef, "2024-12-01", "2022-12-01")
    slate(reef, "101", day="2023-12-01")
    assert suggested(tmp_path, reef, "date") is None


def test_of_two_boat_days_the_one_on_which_its_plots_were_taken_out_is_suggested(tmp_path: Path) -> None:
    reef = Reef()
    out_on(reef, "2022-12-01", plots=("B",))
    out_on(reef, "2024-12-01", plots=("A", "B"))
    slate(reef, "101", day="2023-12-01")
    found = suggested(tmp_path, reef, "date")
    assert found is not None
    assert found.keys == {"day": "2024-12-01"}


def test_the_site_of_all_its_plots_is_suggested(tmp_path: Path) -> None:
    reef = Reef()
    reef.lead("lead").say("site", {"site": name("another"), "name": "Ray"})
    book = reef.dive("kai", DECEMBER, site=name("another"))
    reef.see(book, "101")
    found = suggested(tmp_path, reef, "site")
    assert found is not None
    assert (found.answer, found.keys, found.label) == ("site", {"site": reef.site}, "Amo")


def test_where_its_plots_are_at_two_sites_none_is_suggested(tmp_path: Path) -> None:
    reef = Reef()
    register = reef.lead("lead")
    register.say("site", {"site": name("another"), "name": "Ray"})
    register.say("plot", {"plot": reef.plot("C"), "site": name("another"), "name": "C"})
    book = reef.dive("kai", DECEMBER)
    reef.see(book, "101")
    reef.see(book, "301", plot="C")
    base = base_of(tmp_path / "base", reef.entries(), [reef.protocol])
    assert card_of(base, "site").suggestion is None


# Answers that were given before.


def doubled(folder: Path, *, ruled: bool = True) -> tuple[Base, Reef, list[Entry]]:
    """Two who differ about a coral, and a lead's ruling."""
    reef = Reef()
    seen = [reef.see(reef.dive(who, JUNE), "101", status) for who, status in (("kai", "alive"), ("noa", "dead"))]
    if ruled:
        values = {"matter": "double", "of": sorted(one.digest for one in seen), "answer": "use", "fields": {"status": "dead"}}
        reef.lead("lead").say("ruling", values)
    return base_of(folder / "base", reef.entries(), [reef.protocol]), reef, seen


def late(base: Base, reef: Reef, book: Book) -> Suggested | None:
    """What is suggested once that came in."""
    base.receive(book.entries, source="late")
    return card_of(base, "double").suggestion


def test_a_late_observation_shows_the_old_ruling_as_a_suggestion(tmp_path: Path) -> None:
    base, reef, _ = doubled(tmp_path)
    book = reef.dive("mei", JUNE)
    reef.see(book, "101", "alive")
    found = late(base, reef, book)
    assert found is not None
    assert (found.answer, found.keys, found.probability) == ("use", {"fields": {"status": "dead"}}, None)


def test_a_corrected_observation_shows_the_old_ruling_as_a_suggestion(tmp_path: Path) -> None:
    base, reef, seen = doubled(tmp_path)
    book = next(book for book in reef.books if book.session == seen[0].session)
    correction = book.say("observation", {**seen[0].values, "note": "sure of it"}, [seen[0].digest])
    base.receive([correction], source="late")
    found = card_of(base, "double").suggestion
    assert found is not None
    assert found.answer == "use"


def test_a_ruling_that_was_taken_back_is_not_suggested(tmp_path: Path) -> None:
    base, reef, _ = doubled(tmp_path)
    lead = reef.books[-1]
    lead.say("retract", {}, [lead.entries[-1].digest])
    book = reef.dive("mei", JUNE)
    reef.see(book, "101", "alive")
    base.receive(lead.entries, source="late")
    assert late(base, reef, book) is None


def test_a_ruling_of_one_who_may_not_rule_is_not_suggested(tmp_path: Path) -> None:
    base, reef, seen = doubled(tmp_path, ruled=False)
    book = reef.dive("mei", JUNE)
    reef.see(book, "101", "alive")
    values = {"matter": "double", "of": sorted(one.digest for one in seen), "answer": "use", "fields": {"status": "dead"}}
    book.say("ruling", values)
    assert late(base, reef, book) is None


def test_an_open_matter_that_nobody_ruled_on_suggests_nothing(tmp_path: Path) -> None:
    base, _, _ = doubled(tmp_path, ruled=False)
    assert card_of(base, "double").suggestion is None
    with base.view() as view:
        assert find_matter(view, card_of(base, "double").matter.id[:12]).is_open
