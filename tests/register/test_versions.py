"""A registered thing is mended, taken back and undone by entries alone, and its history tells all of them."""

from __future__ import annotations

from collections.abc import Iterable

from fieldkit.ledger import Entry
from fieldkit.ledger.fold import opened
from fieldkit.register.versions import Said, Story, story
from tests.support.programme import Book, name

SITE = name("site")


class Desk:
    """A lead's statements about a site, each a session of its own, as a base writes them."""

    def __init__(self) -> None:
        self.books: list[Book] = []

    def say(self, said: Iterable[Said], recorder: str = "EA", role: str = "lead") -> list[Entry]:
        book = Book(f"{len(self.books)}", role=role, recorder=recorder)
        self.books.append(book)
        return [book.say(kind, values, replaces) for kind, values, replaces in said]

    def story(self) -> Story:
        entries = [entry for book in self.books for entry in book.entries]
        sessions = {book.session: opened(book.session, book.entries, frozenset()) for book in self.books}
        return story("site", SITE, entries, sessions)


def entered() -> Desk:
    desk = Desk()
    desk.say(desk.story().mended({"name": "Amo", "depth_m": "5"}))
    return desk


def test_a_thing_that_is_mended_has_its_new_values_and_its_history() -> None:
    desk = entered()
    desk.say(desk.story().mended({"name": "Amo", "depth_m": "6"}))
    found = desk.story()
    assert (found.values["depth_m"], [one.stands for one in found.versions]) == ("6", [False, True])
    assert found.versions[1].changed == {"depth_m": ("5", "6")}


def test_a_field_that_is_emptied_is_said_nothing_of_any_more() -> None:
    desk = entered()
    desk.say(desk.story().mended({"name": "Amo"}))
    assert desk.story().values == {"site": SITE, "name": "Amo"}


def test_what_no_form_knows_of_survives_mending() -> None:
    desk = Desk()
    desk.say([("site", {"site": SITE, "name": "Amo", "of_a_later_version": "x"}, ())])
    desk.say(desk.story().mended({"name": "Ela"}))
    assert desk.story().values["of_a_later_version"] == "x"


def test_mending_nothing_says_nothing() -> None:
    desk = entered()
    assert desk.story().mended({"name": "Amo", "depth_m": "5"}) == []


def test_undoing_brings_back_what_stood_before_and_can_be_undone_itself() -> None:
    desk = entered()
    desk.say(desk.story().mended({"name": "Ela"}))
    desk.say(desk.story().undone())
    assert desk.story().values["name"] == "Amo"
    desk.say(desk.story().undone())
    assert desk.story().values["name"] == "Ela"


def test_undoing_the_first_statement_takes_the_thing_back_and_undoing_that_brings_it_again() -> None:
    desk = entered()
    desk.say(desk.story().undone())
    assert (desk.story().is_there, desk.story().values) == (False, {})
    desk.say(desk.story().undone())
    assert desk.story().values["depth_m"] == "5"


def test_two_bases_that_mended_one_thing_differently_are_in_dispute_until_one_statement_replaces_both() -> None:
    desk = entered()
    one, other = (desk.story().mended({"name": "Amo", "depth_m": depth}) for depth in ("6", "7"))
    desk.say(one)
    desk.say(other)
    assert (desk.story().disputed, desk.story().undone()) == (("depth_m",), [])
    desk.say(desk.story().mended({"name": "Amo", "depth_m": "6"}))
    assert (desk.story().disputed, desk.story().values["depth_m"]) == ((), "6")


def test_undoing_what_settled_a_dispute_opens_it_again() -> None:
    desk = entered()
    for said in [desk.story().mended({"name": "Amo", "depth_m": depth}) for depth in ("6", "7")]:
        desk.say(said)
    desk.say(desk.story().mended({"name": "Amo", "depth_m": "6"}))
    desk.say(desk.story().undone())
    assert desk.story().disputed == ("depth_m",)


def test_what_a_crew_says_of_the_register_has_no_effect() -> None:
    desk = entered()
    desk.say(desk.story().mended({"name": "Ela"}), role="crew")
    assert (desk.story().values["name"], len(desk.story().versions)) == ("Amo", 1)
