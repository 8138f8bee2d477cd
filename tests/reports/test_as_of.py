"""As of a day, figures are those of a base that never received what came later."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pytest

from fieldkit.base import Base
from fieldkit.ledger import Entry
from fieldkit.ledger.carry import read_carry
from fieldkit.protocol import read_protocol
from fieldkit.reports.question import Question
from fieldkit.reports.survival import answer
from tests.reports.planted import SAMPLE, figures
from tests.support.programme import Reef, base_of

DAYS = ("2024-12-31", "2025-05-10", "2026-01-15")
QUESTIONS: tuple[dict[str, Any], ...] = (
    {"by": ("site",)},
    {"by": ("site",), "estimate": "round"},
    {"by": ("genotype", "method"), "estimate": "found"},
)


def handed_in_by(day: str) -> list[Entry]:
    """What of the sample's past was there on the evening of a day: the register, and the sessions up to it."""
    with read_carry(SAMPLE / "programme.zip") as carry:
        entries = list(carry.entries())
    days = {entry.session: entry.values.get("day", "") for entry in entries if entry.kind == "session"}
    return [entry for entry in entries if days[entry.session] <= day]


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Base:
    return Base.join(tmp_path_factory.mktemp("base") / "whole", SAMPLE / "programme.zip")[0]


@pytest.fixture(scope="module")
def then(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Base]:
    """A base for each day that never received what came later."""
    protocols = [read_protocol(file.read_bytes(), name=file.name) for file in (SAMPLE / "protocols").glob("*.toml")]
    return {day: base_of(tmp_path_factory.mktemp("base") / "then", handed_in_by(day), protocols) for day in DAYS}


@pytest.mark.parametrize("question", QUESTIONS, ids=lambda question: question.get("estimate", "npmle"))
@pytest.mark.parametrize("day", DAYS)
def test_figures_as_of_a_day_are_those_of_a_base_that_received_nothing_later(
    whole: Base, then: dict[str, Base], day: str, question: dict[str, Any]
) -> None:
    now, before = figures(whole, as_of=date.fromisoformat(day), **question), figures(then[day], **question)
    for name in ("groups", "fates", "left_out", "unsettled"):
        assert now[name] == before[name]


# A visit that goes on past the day.


def two_days_of_one_visit(one: str, other: str) -> Reef:
    """Coral 101 on two days of one visit, and on a visit before."""
    reef = Reef({"A": 1})
    reef.see(reef.dive("kai", "2024-04-01"), "101")
    reef.see(reef.dive("kai", "2024-06-01"), "101", one)
    reef.see(reef.dive("noa", "2024-06-02"), "101", other)
    return reef


def told(folder: Path, reef: Reef, day: date | None) -> dict[str, Any]:
    base = base_of(folder / f"as of {day}", reef.entries(), [reef.protocol])
    with base.view() as view:
        return answer(view, Question(limits="none", as_of=day), reef.protocol)


@pytest.mark.parametrize("state", ["alive", "dead", "missing"])
def test_of_a_visit_that_goes_on_what_was_seen_by_then_counts(tmp_path: Path, state: str) -> None:
    found = told(tmp_path, two_days_of_one_visit(state, state), date(2024, 6, 1))
    assert (found["fates"], found["groups"][0]["missing_lost"]["restricted_mean"]["until"]) == ({state: 1}, 92)


def test_what_was_settled_later_of_a_visit_that_goes_on_is_told_as_it_was_seen_by_then(tmp_path: Path) -> None:
    reef = two_days_of_one_visit("alive", "dead")
    seen = [entry.digest for entry in reef.entries() if entry.kind == "observation"][-2:]
    values = {"matter": "double", "of": sorted(seen), "answer": "use", "fields": {"status": "alive"}}
    reef.lead("lead").say("ruling", values)
    assert told(tmp_path, reef, date(2024, 6, 1))["fates"] == {"alive": 1}


def test_a_withdrawal_after_the_day_has_not_happened_yet(tmp_path: Path) -> None:
    reef = Reef({"A": 1})
    reef.see(reef.dive("kai", "2024-04-01"), "101")
    reef.lead("lead").say("coral", {"coral": reef.coral("101"), "withdrawn_on": "2024-05-01"})
    assert told(tmp_path, reef, date(2024, 4, 15))["fates"] == {"alive": 1}
    assert told(tmp_path, reef, None)["fates"] == {"withdrawn": 1}
