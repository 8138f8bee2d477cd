"""Matters of one kind and reason on one sheet are answered at once, each by a ruling of its own."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from fieldkit.base import Answer, Base, MatterRow, statement, take_back_together
from fieldkit.reports.alike import rulings_alike, sheets, together
from fieldkit.reports.matters import listed
from tests.support.programme import Reef, base_of


def reef() -> Reef:
    """KT and RS differ about three corals on 1 June 2024; KT saw two of them alive on 1 August that were dead by 1 July."""
    made = Reef({"A": 6, "B": 2})
    first, second = made.dive("KT", "2024-06-01"), made.dive("RS", "2024-06-01")
    for tag in ("101", "102", "103"):
        made.see(first, tag, "alive")
        made.see(second, tag, "missing")
    july, august = made.dive("KT", "2024-07-01"), made.dive("KT", "2024-08-01")
    for tag in ("104", "105"):
        made.see(july, tag, "dead")
        made.see(august, tag, "alive")
    made.see(august, "106", "alive")
    made.see(july, "201", "dead", plot="B")
    made.see(made.dive("RS", "2024-08-01"), "201", "alive", plot="B")
    return made


@pytest.fixture
def base(tmp_path: Path) -> Base:
    made = reef()
    return base_of(tmp_path / "base", made.entries(), [made.protocol])


def of_kind(base: Base, kind: str) -> list[MatterRow]:
    with base.view() as view:
        return [matter for matter in view.matters() if matter.kind == kind]


def rule(base: Base, matter: MatterRow, **given: Any) -> None:
    """Answer a matter and those alike, as a page and the command do."""
    answer = Answer(**given)
    with base.view() as view:
        said = [statement(base, view, matter, answer), *rulings_alike(base, view, matter, answer)]
    base.say(said)


def fates(base: Base) -> dict[str, str]:
    with base.view() as view:
        return {coral["tag"]: coral["fate"] for coral in view.corals()}


def test_matters_are_alike_on_one_sheet_and_no_further(base: Base) -> None:
    with base.view() as view:
        alike = together(sheets(view, listed(view)))
    asked = [*of_kind(base, "double"), *of_kind(base, "history")]
    assert sorted((matter.kind, len(alike.get(matter.id, []))) for matter in asked) == [
        *[("double", 3)] * 3,
        ("history", 0),
        ("history", 2),
        ("history", 2),
    ]


def test_whoever_is_right_once_is_right_in_all(base: Base) -> None:
    rule(base, of_kind(base, "double")[0], answer="use", values={"status": "missing"})
    assert of_kind(base, "double") == []
    assert {fates(base)[tag] for tag in ("101", "102", "103")} == {"missing"}


def test_what_stands_once_stands_on_the_whole_sheet_and_on_no_other(base: Base) -> None:
    august = next(matter for matter in of_kind(base, "history") if matter.unit != Reef().plot("B"))
    rule(base, august, answer="stands")
    assert [matter.unit for matter in of_kind(base, "history")] == [Reef().plot("B")]


def test_a_reading_set_aside_is_set_aside_of_the_same_session(base: Base) -> None:
    matter = next(matter for matter in of_kind(base, "history") if matter.unit != Reef().plot("B"))
    with base.view() as view:
        alive = next(row.digest for row in view.observations(matter.of) if row.values["status"] == "alive")
    rule(base, matter, answer="set_aside", observation=alive)
    assert [fates(base)[tag] for tag in ("104", "105", "201")] == ["dead", "dead", "alive"]


def test_each_matter_has_a_ruling_of_its_own(base: Base) -> None:
    rule(base, of_kind(base, "double")[0], answer="both_stand")
    with base.view() as view:
        assert len({matter.ruling for matter in view.matters(settled=True) if matter.kind == "double"}) == 3


def test_what_was_answered_at_once_is_undone_at_once(base: Base) -> None:
    before, matter = fates(base), of_kind(base, "double")[0]
    rule(base, matter, answer="use", values={"status": "missing"})
    with base.view() as view:
        said = take_back_together(view, matter)
    base.say([said])
    assert (fates(base), len(of_kind(base, "double"))) == (before, 3)


def test_a_mixture_that_no_session_said_is_for_one_matter_alone(base: Base) -> None:
    rule(base, of_kind(base, "double")[0], answer="use", values={"status": "dead"})
    assert len(of_kind(base, "double")) == 2
