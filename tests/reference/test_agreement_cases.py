"""Kappa against the tables of Cohen 1960 and 1968, Fleiss, Cohen & Everitt 1969 and Fleiss 1971, R's packages and statsmodels;
limits of agreement against the peak flow meters of Bland & Altman 1986."""

from __future__ import annotations

import json
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.inter_rater import aggregate_raters, cohens_kappa, fleiss_kappa

from fieldkit.reports.agreement import differences, kappa, pooled_kappa
from fieldkit.reports.agreement.kappa import weights_of

CASES = Path(__file__).parent / "cases"
FILE: dict[str, Any] = json.loads((CASES / "agreement_kappa.json").read_text("utf-8"))
PEAK_FLOW: dict[str, Any] = json.loads((CASES / "limits_of_agreement_peak_flow.json").read_text("utf-8"))
WITHIN = FILE["tolerance"]["abs"]

TABLES = [
    (case["data"]["table"], case["data"]["weights"].get(name), expected, f"{case['name']}, {name}")
    for case in FILE["cases"]
    if "table" in case["data"]
    for name, expected in case["expected"].items()
]
FLEISS = next(case for case in FILE["cases"] if "counts" in case["data"])
tables = st.integers(2, 4).flatmap(
    lambda k: st.lists(st.lists(st.integers(0, 30), min_size=k, max_size=k), min_size=k, max_size=k)
)


@pytest.mark.parametrize(("table", "weights", "expected"), [one[:3] for one in TABLES], ids=[one[3] for one in TABLES])
def test_kappa_and_its_limits_are_those_of_the_published_tables(table: Any, weights: Any, expected: dict[str, float]) -> None:
    found = kappa(table, weights)
    assert [found.observed, found.expected, found.value, found.lower, found.upper] == pytest.approx(
        [expected[name] for name in ("po", "pe", "kappa", "lower", "upper")], abs=WITHIN
    )


@pytest.mark.parametrize("kind", ["linear", "quadratic"])
def test_weights_are_those_of_the_published_tables(kind: Any) -> None:
    assert weights_of([0, 1, 2], kind) == pytest.approx(np.array(FILE["cases"][0]["data"]["weights"][kind]), abs=WITHIN)


@pytest.mark.parametrize(("kind", "theirs"), [("unweighted", None), ("linear", "linear"), ("quadratic", "quadratic")])
@given(table=tables)
def test_kappa_is_that_of_statsmodels(kind: Any, theirs: str | None, table: list[list[int]]) -> None:
    if np.count_nonzero(np.sum(table, axis=0)) < 2 or np.count_nonzero(np.sum(table, axis=1)) < 2:
        return  # one recorder used one class only: statsmodels divides by nothing
    one, other = kappa(table, weights_of(range(len(table)), kind)), cohens_kappa(np.array(table), wt=theirs)
    assert one.value == pytest.approx(other.kappa, abs=1e-9)
    if one.lower is not None and one.lower > -1 and one.upper is not None and one.upper < 1:
        assert (one.lower, one.upper) == pytest.approx((other.kappa_low, other.kappa_upp), abs=1e-8)


def test_pooled_kappa_of_six_raters_is_that_of_fleiss_1971() -> None:
    counts = np.array(FLEISS["data"]["counts"])
    table = np.zeros((counts.shape[1],) * 2)
    for row in counts:
        said = np.repeat(range(len(row)), row)
        for one, other in combinations(said, 2):
            table[one, other] += 1
    assert pooled_kappa(table).value == pytest.approx(FLEISS["expected"]["fleiss_kappa"], abs=WITHIN)


@given(said=st.lists(st.tuples(st.integers(0, 2), st.integers(0, 2)), min_size=2, max_size=60))
def test_pooled_kappa_of_two_is_fleiss_kappa_of_statsmodels(said: list[tuple[int, int]]) -> None:
    table = np.zeros((3, 3))
    for one, other in said:
        table[one, other] += 1
    found = pooled_kappa(table)
    if found.value is not None:
        assert found.value == pytest.approx(fleiss_kappa(aggregate_raters(np.array(said))[0]), abs=1e-9)


def test_the_limits_of_pooled_kappa_are_those_of_leaving_out_each_pair_in_turn() -> None:
    table = np.array(FILE["cases"][0]["data"]["table"], float)
    pairs = [(i, j) for i in range(3) for j in range(3) for _ in range(int(table[i, j]))]
    without = []
    for i, j in pairs:
        table[i, j] -= 1
        without.append(pooled_kappa(table).value)
        table[i, j] += 1
    n = len(pairs)
    std_error = np.sqrt((n - 1) * np.var(without))
    found = pooled_kappa(table)
    assert found.upper is not None and found.value is not None
    assert found.upper - found.value == pytest.approx(1.959963984540054 * std_error, abs=1e-12)


def test_bias_and_limits_are_those_that_bland_and_altman_print() -> None:
    found = differences([one - other for one, other in zip(PEAK_FLOW["large"], PEAK_FLOW["mini"], strict=True)])
    assert found and found.sd and found.bias_lower and found.bias_upper
    printed = PEAK_FLOW["published"]
    assert (round(found.bias, 1), round(found.sd, 1)) == (printed["mean_difference"], printed["sd"])
    assert [round(found.bias_lower, 1), round(found.bias_upper, 1)] == printed["limits_of_mean"]
    assert [round(found.bias - 2 * found.sd, 1), round(found.bias + 2 * found.sd, 1)] == pytest.approx(
        printed["bias_less_and_plus_two_sd"], abs=0.11
    )
