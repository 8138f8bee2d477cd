"""The log-rank test, also of several groups and stratified, against R's `survdiff` and printed values."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fieldkit.survival import LogRank, logrank

FOLDER = Path(__file__).parent / "cases"
TWO: dict[str, Any] = json.loads((FOLDER / "km_logrank_6mp.json").read_text("utf-8"))
MANY: dict[str, Any] = json.loads((FOLDER / "logrank_k_groups.json").read_text("utf-8"))


def cases() -> list[Any]:
    """(data, name of the strata column, expected): rho = 1, another test, is left out."""
    files = [("6-MP", TWO["data"], TWO["expected"])]
    files += [(case["name"], case["data"], case["expected"]) for case in MANY["cases"]]
    return [
        pytest.param(data, key.removeprefix("logrank").removeprefix("_strata_") or None, expected[key], id=f"{name} {key}")
        for name, data, expected in files
        for key in expected
        if key.startswith("logrank") and key != "logrank_rho1"
    ]


def result_of(data: dict[str, Any], strata: str | None) -> LogRank:
    return logrank(data["time"], data["event"], data["group"], strata=data[strata] if strata else None)


@pytest.mark.parametrize(("data", "strata", "expected"), cases())
def test_observed_and_expected_deaths_are_those_of_r(data: Any, strata: str | None, expected: Any) -> None:
    ours = result_of(data, strata)
    np.testing.assert_allclose(ours.observed, expected["observed"], rtol=0, atol=1e-8)
    np.testing.assert_allclose(ours.expected, expected["expected"], rtol=0, atol=1e-8)


@pytest.mark.parametrize(("data", "strata", "expected"), cases())
def test_the_covariance_is_that_of_r(data: Any, strata: str | None, expected: Any) -> None:
    np.testing.assert_allclose(result_of(data, strata).covariance, expected["var"], rtol=0, atol=1e-8)


@pytest.mark.parametrize(("data", "strata", "expected"), cases())
def test_chi_square_and_p_value_are_those_of_r(data: Any, strata: str | None, expected: Any) -> None:
    ours = result_of(data, strata)
    np.testing.assert_allclose([ours.statistic, ours.p_value], [expected["chisq"], expected["p"]], rtol=0, atol=1e-8)
    assert ours.df == expected["df"]


@pytest.mark.parametrize(("case", "place"), [(0, 2), (1, 1)], ids=["larynx", "bone marrow"])
def test_the_printed_chi_square_to_its_digits(case: int, place: int) -> None:
    ours = result_of(MANY["cases"][case]["data"], None)
    assert round(ours.statistic, place) == MANY["published"][case]["value"]


def test_the_printed_chi_square_of_the_6mp_trial() -> None:
    assert round(result_of(TWO["data"], None).statistic, 2) == TWO["published"][2]["value"]


def test_stratified_by_pairs_it_is_the_sign_test_worked_in_print() -> None:
    ours = result_of(TWO["data"], "pair")
    assert ours.statistic == pytest.approx(TWO["published"][3]["value"], rel=1e-12)
