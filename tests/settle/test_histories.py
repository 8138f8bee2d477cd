"""Every case of tests/cases/histories/, and what is promised of findings beyond them."""

from __future__ import annotations

import json
from collections import Counter
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from fieldkit.settle.histories import Finding, History, Interval, Sighting, history

CASES = Path(__file__).parents[1] / "cases" / "histories"


def cases(pattern: str = "*.json") -> list[dict[str, Any]]:
    return [case for file in sorted(CASES.glob(pattern)) for case in json.loads(file.read_text("utf-8"))]


def day(text: str | None) -> date | None:
    return None if text is None else date.fromisoformat(text)


def told(case: dict[str, Any]) -> History:
    sightings = [Sighting(date.fromisoformat(on), state) for on, state in case["sightings"]]
    said = {name: day(case.get(name)) for name in ("withdrawn_on", "known_from", "as_of")}
    return history(day(case["planted_on"]), sightings, **said)


def expected(case: dict[str, Any]) -> History:
    return History(
        lost=Interval(*case["lost"]) if case["lost"] else None,
        open=Interval(*case["open"]) if case["open"] else None,
        left_out=case["left_out"],
        entry=case["entry"],
        findings=tuple(Finding(tuple(map(date.fromisoformat, days)), kind) for kind, days in case["findings"]),
        fate=case["fate"],
    )


@pytest.mark.parametrize("case", cases(), ids=lambda case: case["name"])
def test_a_history_gives_its_interval(case: dict[str, Any]) -> None:
    assert told(case) == expected(case)


def test_no_two_cases_state_the_same_fact() -> None:
    names = Counter(case["name"] for case in cases())
    assert len(names) > 80
    assert not [name for name, times in names.items() if times > 1]


def test_cases_cover_every_finding_fate_and_reason_for_leaving_out() -> None:
    covered = [(case["fate"], case["left_out"], *(kind for kind, _ in case["findings"])) for case in cases()]
    assert {name for names in covered for name in names} == {
        *("alive", "dead", "missing", "withdrawn", "not_seen"),
        *(None, "no_planting_day", "planted_later", "known_later"),
        *("alive_after_dead", "dead_on_planting_day", "missing_on_planting_day", "before_planting", "after_withdrawal"),
    }


def intervals(which: str) -> Counter[tuple[int, int | None]]:
    found = [getattr(told(case), which) for case in cases("ten_corals.json")]
    return Counter((interval.left, interval.right) for interval in found)


def test_the_ten_corals_lose_two_by_90_and_two_by_365_days_with_missing_counted_as_lost() -> None:
    assert intervals("lost") == {(30, 90): 2, (180, 365): 2, (365, None): 6}


def test_the_ten_corals_lose_one_by_90_and_one_by_365_days_with_missing_left_open() -> None:
    assert intervals("open") == {(30, 90): 1, (30, None): 1, (180, 365): 1, (180, None): 1, (365, None): 6}


def test_two_sightings_before_planting_on_one_day_are_one_finding() -> None:
    early = date(2026, 3, 1)
    found = history(date(2026, 3, 10), [Sighting(early, "alive"), Sighting(early, "missing")]).findings
    assert found == (Finding((early,), "before_planting"),)


def test_a_later_sighting_alive_leaves_the_earlier_question_as_it_was() -> None:
    """A ruling names what its matter is about; were that to grow with every visit, no ruling would ever last."""
    sightings = [Sighting(date(2026, 4, 9), "dead"), Sighting(date(2026, 6, 8), "alive")]
    before = history(date(2026, 3, 10), sightings).findings
    after = history(date(2026, 3, 10), [*sightings, Sighting(date(2026, 9, 6), "alive")]).findings
    assert after == before


def test_sightings_may_come_from_a_generator() -> None:
    seen = (Sighting(date(2026, month, 9), "alive") for month in (4, 5))
    assert history(date(2026, 3, 10), seen).lost == Interval(60, None)


def test_a_state_that_is_none_of_the_three_is_never_passed_over() -> None:
    with pytest.raises(KeyError):
        history(date(2026, 3, 10), [Sighting(date(2026, 4, 9), "not searched")])  # type: ignore[arg-type]
