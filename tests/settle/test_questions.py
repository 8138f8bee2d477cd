"""The matters that are about sessions, slates, names and rulings."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from fieldkit.ledger import Entry, mint
from fieldkit.ledger.fold import Session
from fieldkit.settle.matter import Matter, Rulings, matter_id
from fieldkit.settle.questions import name_of_two, new_tags_of_no_coral, rulings_that_differ, session_matters, slate_pairs
from tests.support.programme import name

VALUES = {"day": "2024-06-01", "site": "amo"}
SESSION = Session(name("session"), name("device"), "crew", VALUES, opening=(name("opening"),), has_observations=True)
ONE, OTHER = sorted((name("session", "one"), name("session", "other")))
ROWS: dict[str, dict[str, object]] = {ONE: {coral: {} for coral in "abcd"}, OTHER: {coral: {} for coral in "abce"}}


def ruling(kind: str, of: list[str], answer: str, seq: int = 1, **keys: Any) -> Entry:
    values = {"matter": kind, "of": sorted(of), "answer": answer, **keys}
    return mint("ruling", device=name("device"), session=name("lead"), seq=seq, at=0, values=values)


def asked(
    session: Session, *rulings: Entry, boat_days: tuple[str, ...] = (), sites: tuple[str, ...] = ("amo",), window: int = 1
) -> list[Matter]:
    return session_matters(session, Rulings(rulings), boat_days=boat_days, window_days=window, sites_of_plots=sites)


def saying(**values: Any) -> Session:
    return replace(SESSION, values={name: value for name, value in {**VALUES, **values}.items() if value is not None})


def kinds(matters: list[Matter]) -> list[tuple[str, str]]:
    return [(matter.kind, matter.why.key.removeprefix("settle.")) for matter in matters]


def test_a_session_on_a_boat_day_of_its_site_and_of_plots_there_is_no_matter() -> None:
    assert asked(SESSION, boat_days=("2024-06-01",)) == []


@pytest.mark.parametrize(("day", "is_asked"), [("2024-05-31", False), ("2024-06-02", False), ("2024-06-03", True)])
def test_a_day_is_asked_about_where_nobody_was_out_within_the_window(day: str, is_asked: bool) -> None:
    assert (kinds(asked(SESSION, boat_days=(day,))) == [("date", "nobody_out")]) is is_asked


def test_where_nobody_wrote_boat_days_down_no_day_is_asked_about() -> None:
    assert asked(SESSION) == []


def test_an_import_brings_days_from_before_anybody_wrote_boat_days_down() -> None:
    assert asked(saying(**{"import": name("import")}), boat_days=("2025-06-01",)) == []


@pytest.mark.parametrize("day", [None, "1 June", "2024-13-01"])
def test_a_session_without_a_day_that_can_be_read_is_a_matter(day: str | None) -> None:
    assert kinds(asked(saying(day=day))) == [("date", "no_day")]


def test_a_session_that_says_no_site_is_a_matter() -> None:
    assert kinds(asked(saying(site=None))) == [("site", "no_site")]


def test_a_session_with_plots_of_another_site_is_a_matter() -> None:
    assert kinds(asked(SESSION, sites=("ray",))) == [("site", "plots_of_other_site")]


@pytest.mark.parametrize("change", [{"has_observations": False}, {"taken_back": True}, {"values": {"practice": True}}])
def test_a_session_that_no_figure_hangs_on_is_not_asked_when_it_was(change: dict[str, Any]) -> None:
    assert asked(replace(saying(day=None), **change)) == []


@pytest.mark.parametrize(("answer", "keys"), [("day", {"day": "2024-06-09"}), ("stands", {}), ("set_aside", {})])
def test_a_ruling_settles_a_wrong_day(answer: str, keys: Any) -> None:
    said = ruling("date", [SESSION.id], answer, **keys)
    assert [matter.ruling for matter in asked(SESSION, said, boat_days=("2024-06-09",))] == [said.digest]


def test_a_ruling_with_no_day_in_it_leaves_the_question_open() -> None:
    (matter,) = asked(SESSION, ruling("date", [SESSION.id], "day", day="soon"), boat_days=("2024-06-09",))
    assert matter.is_open


def test_a_day_that_was_not_said_cannot_stand() -> None:
    (matter,) = asked(saying(day=None), ruling("date", [SESSION.id], "stands"))
    assert matter.is_open


def test_a_ruling_settles_a_wrong_site() -> None:
    said = ruling("site", [SESSION.id], "site", site="ray")
    assert [matter.ruling for matter in asked(SESSION, said, sites=("ray",))] == [said.digest]


def test_a_session_continued_twice_is_a_matter_that_no_answer_settles() -> None:
    (matter,) = asked(replace(SESSION, continued_twice=("a", "b")))
    assert (matter.kind, matter.of, matter.answers) == ("continued_twice", ("a", "b"), ())


def test_each_entry_that_a_session_may_not_write_is_a_matter() -> None:
    assert [matter.of for matter in asked(replace(SESSION, not_entitled=("a", "b")))] == [("a",), ("b",)]


def test_a_head_corrected_in_two_ways_is_a_matter_that_names_the_values() -> None:
    (matter,) = asked(replace(SESSION, disputed=("day",)))
    assert (matter.kind, matter.why.data) == ("corrected_twice", {"fields": "day"})


def test_two_things_of_one_name_are_one_matter_in_any_order() -> None:
    assert name_of_two(["b", "a"], "Amo", "unit") == name_of_two(["a", "b"], "Amo", "unit")


def hung(**values: Any) -> Entry:
    said = {"row": name("row"), "plot": name("plot"), "done": "new tag", **values}
    return mint("action", device=name("device"), session=SESSION.id, seq=1, at=0, values=said)


def test_a_new_tag_on_a_coral_that_the_row_does_not_name_is_a_matter_of_its_plot() -> None:
    entry = hung(tag="777")
    (matter,) = new_tags_of_no_coral([entry], {name("coral")})
    assert (matter.kind, matter.of, matter.unit) == ("tag", (entry.digest,), name("plot"))


def test_a_new_tag_on_a_coral_that_nobody_planted_is_a_matter() -> None:
    assert len(new_tags_of_no_coral([hung(tag="777", coral=name("another"))], {name("coral")})) == 1


@pytest.mark.parametrize("values", [{"tag": "777", "coral": name("coral")}, {"done": "cleaned"}])
def test_an_action_that_names_its_coral_or_hung_no_tag_is_no_matter(values: dict[str, str]) -> None:
    assert new_tags_of_no_coral([hung(**values)], {name("coral")}) == []


# Rulings that differ.


def test_two_rulings_that_differ_are_a_matter_about_the_two() -> None:
    said = [ruling("double", ["a", "b"], answer, seq=seq) for seq, answer in enumerate(("set_aside", "both_stand"), 1)]
    (matter,) = rulings_that_differ(Rulings(said), {"a": "plot"})
    assert (matter.of, matter.unit) == (tuple(sorted(one.digest for one in said)), "plot")


def test_two_rulings_that_say_the_same_are_no_matter() -> None:
    said = [ruling("double", ["a", "b"], "set_aside", seq=seq, why=f"reason {seq}") for seq in (1, 2)]
    assert rulings_that_differ(Rulings(said), {"a": "plot"}) == []


def test_the_same_answer_with_other_values_differs() -> None:
    said = [ruling("double", ["a"], "use", seq=seq, fields={"size_cm": str(seq)}) for seq in (1, 2)]
    assert len(rulings_that_differ(Rulings(said), {"a": "plot"})) == 1


def test_a_matter_has_the_same_id_whatever_the_order_of_what_it_is_about() -> None:
    assert matter_id("double", ["b", "a"]) == matter_id("double", ["a", "b"]) != matter_id("tag", ["a", "b"])


# Slates.


def test_two_sessions_that_look_like_one_slate_are_one_matter_however_many_rows_they_share() -> None:
    _, (matter,) = slate_pairs([(ONE, OTHER)], ROWS, Rulings(()), "unit")
    assert (matter.of, matter.why.data) == ((ONE, OTHER), {"rows": 3})


def test_the_session_that_a_ruling_keeps_leaves_the_other_as_the_slate_typed_again() -> None:
    said = ruling("same_slate", [ONE, OTHER], "same_slate", keep=OTHER)
    assert slate_pairs([(ONE, OTHER)], ROWS, Rulings([said]), "unit")[0] == [(ONE, OTHER, ONE, said.digest)]


def test_two_dives_that_both_stand_are_settled_and_neither_is_typed_again() -> None:
    said = ruling("same_slate", [ONE, OTHER], "both_stand")
    assert slate_pairs([(ONE, OTHER)], ROWS, Rulings([said]), "unit")[0] == [(ONE, OTHER, None, said.digest)]


def test_a_ruling_that_keeps_neither_of_the_two_leaves_the_matter_open() -> None:
    said = ruling("same_slate", [ONE, OTHER], "same_slate", keep=name("session", "third"))
    pairs, (matter,) = slate_pairs([(ONE, OTHER)], ROWS, Rulings([said]), "unit")
    assert (pairs, matter.is_open) == ([(ONE, OTHER, None, None)], True)
