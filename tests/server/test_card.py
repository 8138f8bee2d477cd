"""What a card shows and what its buttons say."""

from __future__ import annotations

from typing import Any

import pytest

from fieldkit.base import MatterRow
from fieldkit.errors import Fault
from fieldkit.reports.matters import Card, Seen
from fieldkit.reports.suggestions import Suggested
from fieldkit.server.card import pressed, shown
from fieldkit.server.names import Names
from fieldkit.server.reader import Reader
from tests.support.programme import monitoring

NAMES = Names(Reader("en"), [monitoring()])
ONE, OTHER = "1" * 64, "2" * 64


def seen(digest: str, recorder: str, day: str = "2026-11-10", **values: Any) -> Seen:
    return Seen(digest, f"session of {recorder}", recorder, day, "B114", values, "in a matter", ())


USUAL = ("use", "both_stand", "set_aside")


def matter(kind: str = "double", answers: tuple[str, ...] = USUAL, **fields: dict[str, Any]) -> MatterRow:
    why = Fault("settle.double", {"fields": ", ".join(fields)})
    return MatterRow("m", kind, (ONE, OTHER), why, "plot", ("coral",), "2026-11-10", None, fields, answers, None)


def card(matter: MatterRow, *said: Seen, **known: Any) -> Card:
    return Card(matter=matter, site="Amo", plot="A", corals=("B114",), seen=said, sessions=(), **known)


STATUS = {"status": {ONE: "dead", OTHER: "alive"}}
DOUBLE = card(matter(**STATUS), seen(ONE, "RS", status="dead"), seen(OTHER, "KT", status="alive", size_cm="12"))


def texts(of: Card) -> list[str]:
    return [press.text for press in shown(of, NAMES).presses]


def answered(of: Card, text: str, **form: str) -> Any:
    press = next(press for press in shown(of, NAMES).presses if press.text == text)
    return pressed({"says": press.says, **form}, of.matter)


def test_each_session_is_offered_as_right_in_the_protocols_words() -> None:
    assert texts(DOUBLE)[:2] == ["KT is right: Alive", "RS is right: Dead"]


def test_what_was_said_stands_side_by_side_in_one_order() -> None:
    found = shown(DOUBLE, NAMES)
    assert ([column.who for column in found.columns], found.lines[0].cells) == (["KT", "RS"], ("Alive", "Dead"))


def test_what_the_matter_is_not_about_stands_apart() -> None:
    found = shown(DOUBLE, NAMES)
    assert ([line.name for line in found.lines], [line.name for line in found.others]) == (["Condition"], ["Greatest width"])


def test_alive_against_dead_is_not_offered_to_stand() -> None:
    assert "Both stand" not in texts(DOUBLE)


def test_alive_against_missing_is() -> None:
    said = {"status": {ONE: "missing", OTHER: "alive"}}
    assert "Both stand" in texts(card(matter(**said), *DOUBLE.seen))


def test_saying_who_is_right_takes_the_values_as_they_were_noted() -> None:
    signs = ["tissue_loss", "skeletal_damage"]
    double = card(
        matter(disease={ONE: signs, OTHER: ["none"]}), seen(ONE, "RS", disease=signs), seen(OTHER, "KT", disease=["none"])
    )
    assert answered(double, "RS is right: Tissue loss and Skeletal damage").values == {"disease": signs}


def test_values_can_be_taken_from_different_sessions() -> None:
    both = matter(status={ONE: "missing", OTHER: "alive"}, size_cm={ONE: "12", OTHER: "13"})
    form = {"says": "answer=use", "pick.status": OTHER, "pick.size_cm": ONE}
    assert pressed(form, both).values == {"status": "alive", "size_cm": "12"}


def test_a_value_that_nobody_noted_can_be_typed_or_picked() -> None:
    both = matter(status={ONE: "missing", OTHER: "alive"}, size_cm={})
    form = {"says": "answer=use", "pick.status": "=dead", "type.size_cm": " 12.5 "}
    assert pressed(form, both).values == {"status": "dead", "size_cm": "12.5"}


def test_a_field_left_blank_is_not_settled() -> None:
    assert pressed({"says": "answer=use", "pick.status": "", "type.status": " "}, matter(**STATUS)).values == {}


def test_every_value_of_a_list_can_be_picked_once() -> None:
    assert [text for _, text in shown(DOUBLE, NAMES).picks[0].values] == ["Alive", "Dead", "Missing"]


def test_what_is_picked_for_one_answer_does_not_slip_into_another() -> None:
    form = {"says": "answer=both_stand", "coral": "c", "observation": ONE, "day": "2026-11-10", "pick.status": ONE}
    given = pressed(form, matter(**STATUS))
    assert (given.answer, given.values, given.coral, given.observation, given.day) == ("both_stand", {}, None, None, None)


def test_a_reason_goes_with_the_answer() -> None:
    assert answered(DOUBLE, "KT is right: Alive", why=" saw it on the photo ").why == "saw it on the photo"


def test_no_reason_is_none() -> None:
    assert answered(DOUBLE, "KT is right: Alive", why="  ").why is None


def test_a_button_that_says_nothing_answers_nothing() -> None:
    assert pressed({}, matter(**STATUS)).answer == ""


def test_two_readings_of_one_person_on_one_day_are_told_apart() -> None:
    twice = card(matter("tag", ("place", "set_aside")), seen(ONE, "KT", status="alive"), seen(OTHER, "KT", status="alive"))
    assert [column.who for column in shown(twice, NAMES).columns] == ["KT (1)", "KT (2)"]


def test_of_two_readings_it_is_said_which_is_placed() -> None:
    twice = card(matter("tag", ("place", "set_aside")), seen(ONE, "KT", status="alive"), seen(OTHER, "KT", status="alive"))
    assert [digest for digest, _ in shown(twice, NAMES).observations] == [ONE, OTHER]


@pytest.mark.parametrize(("probability", "told"), [(0.914, "(91% likely)"), (0.9999, "(> 99% likely)")])
def test_a_suggestion_comes_with_its_reason_and_no_more_certainty_than_there_is(probability: float, told: str) -> None:
    why = (Fault("settle.because_swapped", {"noted": "B130", "tag": "B103"}),)
    suggestion = Suggested("place", {"coral": "c"}, probability, why, "B103")
    found = shown(card(matter("tag", ("place",)), seen(ONE, "KT"), suggestion=suggestion), NAMES)
    assert told in found.suggestion and "B130 is B103 with two glyphs swapped." in found.suggestion


def test_the_suggested_answer_is_marked_and_says_the_coral() -> None:
    suggestion = Suggested("place", {"coral": "c", "observation": ONE}, 0.9, (), "B103")
    tag = card(matter("tag", ("place",)), seen(ONE, "KT"), suggestion=suggestion)
    found = shown(tag, NAMES).presses[0]
    given = pressed({"says": found.says}, tag.matter)
    assert (found.suggested, given.coral, given.observation) == (True, "c", ONE)


def test_a_history_shows_what_was_seen_first_first() -> None:
    history = card(
        matter("history", ("stands", "set_aside")),
        seen(ONE, "MO", "2026-11-10", status="alive"),
        seen(OTHER, "MO", "2026-05-09", status="dead"),
    )
    assert shown(history, NAMES).lines[0].cells == ("Dead", "Alive")


def test_the_last_visit_stands_beside_what_is_disputed() -> None:
    found = shown(card(DOUBLE.matter, *DOUBLE.seen, last_visit={"day": "2026-05-09", "state": "alive"}), NAMES)
    assert (found.last_day, found.lines[0].last) == ("9 May 2026", "Alive")


def test_fields_of_a_sentence_are_named_as_on_the_slate() -> None:
    assert shown(DOUBLE, NAMES).why == "Two sessions differ about one coral: Condition."


def suggesting(answer: str, keys: dict[str, Any], label: str) -> Card:
    return card(matter("date", (answer, "stands")), suggestion=Suggested(answer, keys, None, (), label))


@pytest.mark.parametrize(
    ("answer", "keys", "label", "text"),
    [("day", {"day": "2026-11-10"}, "2026-11-10", "It was on 10 Nov 2026"), ("site", {"site": "s"}, "Amo", "It was at Amo")],
)
def test_a_suggested_day_or_site_is_one_press(answer: str, keys: dict[str, Any], label: str, text: str) -> None:
    given = answered(suggesting(answer, keys, label), text)
    assert (given.answer, given.day or given.site) == (answer, next(iter(keys.values())))


def test_a_suggestion_that_nothing_measures_gives_no_probability() -> None:
    found = shown(suggesting("day", {"day": "2026-11-10"}, "2026-11-10"), NAMES)
    assert found.suggestion == "Suggested: “It was on 10 Nov 2026”."


def test_an_answer_given_before_is_marked_among_the_answers() -> None:
    before = Suggested("use", {"fields": {"status": "alive"}}, None, (), "use")
    presses = shown(card(DOUBLE.matter, *DOUBLE.seen, suggestion=before), NAMES).presses
    assert [press.text for press in presses if press.suggested] == ["KT is right: Alive"]
