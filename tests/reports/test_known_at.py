"""A round of visits takes place around its nominal age: its figure is the one of the day when it was done."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from fieldkit.reports.question import Question
from fieldkit.reports.survival import answer, as_known
from tests.support.programme import Reef, base_of


def _answered(tmp_path: Path, **asked: Any) -> dict[str, Any]:
    """Three corals planted on 1 March 2024; the round of month 3 on day 96, which finds one dead."""
    reef = Reef({"A": 3})
    dive = reef.dive("KT", "2024-06-05")
    for tag, status in (("101", "alive"), ("102", "alive"), ("103", "dead")):
        reef.see(dive, tag, status)
    base = base_of(tmp_path / "base", reef.entries(), [reef.protocol])
    with base.view() as view:
        return answer(view, Question(limits="none", **asked), reef.protocol)


def test_at_the_nominal_age_of_a_late_round_nothing_is_known_of_it_yet(tmp_path: Path) -> None:
    figure = _answered(tmp_path, at=(91,))["groups"][0]["missing_lost"]["at"][0]
    assert (figure["age"], figure["survival"]) == (91, 1)


def test_a_late_round_is_told_by_the_day_on_which_it_was_done(tmp_path: Path) -> None:
    for estimate in ("npmle", "found"):
        found = as_known(_answered(tmp_path / estimate, at=(91,), estimate=estimate))
        figure = found["groups"][0]["missing_lost"]["at"][0]
        assert (figure["age"], figure["known_age"], round(figure["survival"], 12)) == (91, 96, round(2 / 3, 12))


def test_an_age_of_no_round_is_told_at_the_end_of_the_interval_that_holds_it(tmp_path: Path) -> None:
    figure = as_known(_answered(tmp_path, at=(50,)))["groups"][0]["missing_lost"]["at"][0]
    assert (figure["age"], figure["known_age"]) == (50, 96)


def test_an_age_past_all_visits_is_told_as_it_is(tmp_path: Path) -> None:
    figure = as_known(_answered(tmp_path, at=(365,)))["groups"][0]["missing_lost"]["at"][0]
    assert (figure["age"], figure["known_age"]) == (365, 365)
