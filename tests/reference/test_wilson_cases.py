"""Wilson's limits against R's `prop.test`, statsmodels and the printed table of Newcombe 1998."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from statsmodels.stats.proportion import proportion_confint

from fieldkit.survival import wilson

FILE: dict[str, Any] = json.loads((Path(__file__).parent / "cases" / "wilson_interval.json").read_text("utf-8"))
CASES = pytest.mark.parametrize("case", FILE["cases"], ids=lambda case: f"{case['x']} of {case['n']}")


@CASES
@pytest.mark.parametrize(("level", "key"), [(0.95, "wilson95"), (0.90, "wilson90")])
def test_limits_are_those_of_r(case: dict[str, Any], level: float, key: str) -> None:
    assert wilson(case["x"], case["n"], level) == pytest.approx(tuple(case[key]), abs=FILE["tolerance"]["abs"])


@CASES
def test_none_and_all_have_exact_ends(case: dict[str, Any]) -> None:
    lower, upper = wilson(case["x"], case["n"])
    assert (lower == 0) == (case["x"] == 0)
    assert (upper == 1) == (case["x"] == case["n"])


@pytest.mark.parametrize("level", [0.5, 0.8, 0.99])
@pytest.mark.parametrize(("successes", "n"), [(0, 7), (3, 7), (7, 7), (250, 10_000)])
def test_limits_are_those_of_statsmodels_at_any_level(successes: int, n: int, level: float) -> None:
    theirs = proportion_confint(successes, n, alpha=1 - level, method="wilson")
    assert wilson(successes, n, level) == pytest.approx(theirs, abs=1e-12)


@pytest.mark.parametrize("printed", FILE["published"], ids=lambda printed: printed["quantity"])
def test_the_printed_limits_to_their_digits(printed: dict[str, Any]) -> None:
    successes, n = map(int, printed["quantity"].split("/"))
    assert [round(limit, 4) for limit in wilson(successes, n)] == printed["value"]
