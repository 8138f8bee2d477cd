"""`fieldkit matters` and `fieldkit rule`: what is asked, what can be answered, and what an answer that does not fit is told."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from fieldkit.base import Base
from tests.cli.terminal import Told, state_of, typed
from tests.support.programme import Book, Reef, base_of


@pytest.fixture
def disputed(tmp_path: Path) -> Path:
    """A reef on which two recorders differ about coral 101, one read a tag that nobody wears, and one saw 102 twice."""
    made = Reef()
    one, other = made.dive("KT", "2024-09-01"), made.dive("MO", "2024-09-01")
    made.see(one, "101")
    made.see(other, "101", "dead")
    made.see(other, "1O3")
    made.see(one, "102")
    made.see(one, "102")
    base = base_of(tmp_path / "disputed", made.entries())
    base.adopt(made.protocol)
    return base.folder


def asked(base: Path, kind: str) -> list[dict[str, Any]]:
    return [matter for matter in typed(base, "matters", "--all", "--json").json if matter["kind"] == kind]


def the(base: Path, kind: str, of: int = 1) -> dict[str, Any]:
    """The one matter of that kind about so many observations."""
    (matter,) = [matter for matter in asked(base, kind) if len(matter["of"]) == of]
    return matter


def refused(base: Path, *arguments: str) -> Told:
    """What a ruling is told that must not change anything."""
    before = state_of(base)
    told = typed(base, "rule", *arguments)
    assert (told.code, told.out, state_of(base)) == (2, "", before)
    return told


def test_a_matter_is_told_with_the_keys_that_programs_rely_on(disputed: Path) -> None:
    matter = the(disputed, "double", 2)
    assert {"id", "kind", "of", "corals", "why", "state", "ruling", "suggestion"} <= matter.keys()
    assert (matter["state"], matter["ruling"]) == ("open", None)


def test_a_suggestion_says_what_to_answer_how_likely_and_why(disputed: Path) -> None:
    suggestion = the(disputed, "tag")["suggestion"]
    assert (suggestion["answer"], suggestion["coral"]) == ("place", Reef().coral("103"))
    assert 0 < suggestion["probability"] <= 1 and suggestion["why"]


def test_a_matter_in_full_tells_who_saw_what_and_which_answers_it_takes(disputed: Path) -> None:
    told = typed(disputed, "matters", the(disputed, "double", 2)["id"][:12])
    assert all(word in told.out for word in ("KT", "MO", "status=alive", "status=dead", "Answers: use, both_stand"))


def test_nothing_is_ever_called_certain(disputed: Path) -> None:
    assert "100%" not in typed(disputed, "matters").out


def test_a_settled_matter_shows_only_when_all_are_asked_for(disputed: Path) -> None:
    matter = the(disputed, "double", 2)
    typed(disputed, "rule", matter["id"], "use", "--value", "status=alive")
    assert matter["id"] not in {one["id"] for one in typed(disputed, "matters", "--json").json}
    assert the(disputed, "double", 2)["state"] == "settled"


def test_a_ruling_says_who_gave_it_and_why(disputed: Path) -> None:
    typed(disputed, "rule", the(disputed, "tag")["id"], "set_aside", "--why", "overgrown", "--by", "QQ")
    with Base(disputed).view() as view:
        (ruling,) = view.ledger.of_kind("ruling")
        recorder = view.sessions([ruling.session])[ruling.session].session.values["recorder"]
    assert (ruling.values["why"], recorder) == ("overgrown", "QQ")


def test_the_beginning_of_an_id_that_several_matters_share_is_told_with_them(sample: Path) -> None:
    told = refused(sample, "a", "stands")
    assert "Several matters begin with “a”" in told.err and told.err.count(", ") > 1


def test_an_id_that_no_matter_has_is_told(disputed: Path) -> None:
    assert "No matter begins with “zzz”" in refused(disputed, "zzz", "stands").err


def test_an_answer_that_does_not_fit_is_told_with_those_that_do(disputed: Path) -> None:
    told = refused(disputed, the(disputed, "double", 2)["id"], "day", "--day", "2024-09-02")
    assert "“day”" in told.err and "use, both_stand" in told.err


def test_a_value_that_the_protocol_does_not_have_is_told_with_those_it_has(disputed: Path) -> None:
    told = refused(disputed, the(disputed, "double", 2)["id"], "use", "--value", "status=living")
    assert "“status” cannot be “living”" in told.err and "alive, dead, missing" in told.err


def test_a_field_that_is_not_in_dispute_is_told_with_those_that_are(disputed: Path) -> None:
    told = refused(disputed, the(disputed, "double", 2)["id"], "use", "--value", "size_cm=12")
    assert "“size_cm”" in told.err and "status" in told.err


def test_use_without_a_value_is_told_what_is_in_dispute(disputed: Path) -> None:
    assert "--value status=alive" in refused(disputed, the(disputed, "double", 2)["id"], "use").err


def test_a_tag_that_no_coral_of_the_plot_wears_is_told_with_the_nearest(disputed: Path) -> None:
    told = refused(disputed, the(disputed, "tag")["id"], "place", "--coral", "1o3")
    assert "“1o3”" in told.err and "103" in told.err


def test_the_nearest_tag_is_named_as_it_is_written(disputed: Path) -> None:
    reef = Reef()
    planting = Book("more", role="lead", site=reef.site, day="2024-03-01")
    planting.say("planting", {"row": reef.coral("Kilo-7"), "plot": reef.plot("A"), "tag": "Kilo-7", "position": "4"})
    Base(disputed).receive(planting.entries, source="test")
    told = refused(disputed, the(disputed, "tag")["id"], "place", "--coral", "Kilo-1")
    assert "Kilo-7" in told.err


def test_of_a_tag_read_twice_the_one_that_is_meant_must_be_said(disputed: Path) -> None:
    matter = the(disputed, "tag", 2)
    told = refused(disputed, matter["id"], "place", "--coral", "103")
    assert all(digest[:12] in told.err for digest in matter["of"])


def test_a_coral_can_be_named_by_tag_by_position_and_by_id(disputed: Path) -> None:
    matter = the(disputed, "tag")
    for name in ("103", "3", Reef().coral("103")):
        typed(disputed, "rule", matter["id"], "place", "--coral", name)
        (seen,) = typed(disputed, "observations", "--where", f"digest={matter['of'][0]}", "--json").json
        assert seen["coral"] == "103"
        typed(disputed, "rule", matter["id"], "--retract")


def test_alive_and_dead_cannot_both_stand(disputed: Path) -> None:
    assert "--value status=" in refused(disputed, the(disputed, "double", 2)["id"], "both_stand").err


@pytest.mark.parametrize(
    ("answer", "option"),
    [("set_aside", "--coral"), ("place", "--day"), ("use", "--keep")],
)
def test_an_option_that_says_nothing_with_the_answer_is_refused(disputed: Path, answer: str, option: str) -> None:
    matter = the(disputed, "tag") if answer in ("set_aside", "place") else the(disputed, "double", 2)
    needed = {"place": ["--coral", "103"], "use": ["--value", "status=alive"]}.get(answer, [])
    told = refused(disputed, matter["id"], answer, *needed, option, "x")
    assert option in told.err


def test_a_reason_for_taking_back_is_not_dropped_in_silence(disputed: Path) -> None:
    matter = the(disputed, "double", 2)["id"]
    typed(disputed, "rule", matter, "use", "--value", "status=alive")
    assert "--why" in refused(disputed, matter, "--retract", "--why", "slip").err


def test_what_was_never_ruled_on_cannot_be_taken_back(disputed: Path) -> None:
    matter = the(disputed, "double", 2)["id"]
    assert f"Nobody has ruled on the matter {matter[:12]}" in refused(disputed, matter, "--retract").err


@pytest.mark.parametrize("arguments", [[], ["stands", "--retract"]])
def test_an_answer_or_its_taking_back_must_be_given_and_not_both(disputed: Path, arguments: list[str]) -> None:
    assert "ANSWER" in refused(disputed, the(disputed, "double", 2)["id"], *arguments).err


@pytest.mark.parametrize("given", ["status", "=alive"])
def test_a_value_that_is_no_pair_is_told(disputed: Path, given: str) -> None:
    matter = the(disputed, "double", 2)["id"]
    assert f"“{given}”" in refused(disputed, matter, "use", "--value", given).err


def test_of_two_values_for_one_field_none_is_dropped_in_silence(disputed: Path) -> None:
    values = ["--value", "status=alive", "--value", "status=dead"]
    assert "“status” is given twice" in refused(disputed, the(disputed, "double", 2)["id"], "use", *values).err
