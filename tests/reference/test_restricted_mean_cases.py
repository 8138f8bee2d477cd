"""Restricted mean survival against R's `survival` and `survRM2`."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fieldkit.survival import kaplan_meier

FOLDER = Path(__file__).parent / "cases"
PBC: dict[str, Any] = json.loads((FOLDER / "rmst_pbc.json").read_text("utf-8"))
LEUKAEMIA: dict[str, Any] = json.loads((FOLDER / "km_logrank_6mp.json").read_text("utf-8"))


@pytest.mark.parametrize("arm", [0, 1])
def test_mean_error_and_limits_are_those_of_survrm2(arm: int) -> None:
    curve = kaplan_meier(PBC["data"]["time"], PBC["data"]["event"], group=PBC["data"]["arm"])[arm]
    mean = curve.restricted_mean(PBC["expected"]["tau"])
    expected = PBC["expected"]["rmst"][str(arm)]
    np.testing.assert_allclose(
        [mean.value, mean.std_error, mean.lower, mean.upper],
        [expected[key] for key in ("rmst", "se", "lower", "upper")],
        rtol=0,
        atol=PBC["tolerance"]["abs"],
    )


@pytest.mark.parametrize("case", LEUKAEMIA["expected"]["rmst"], ids=lambda case: f"{case['group']} to {case['tau']}")
def test_the_last_value_is_carried_on_to_the_end_asked_for(case: dict[str, Any]) -> None:
    curves = kaplan_meier(LEUKAEMIA["data"]["time"], LEUKAEMIA["data"]["event"], group=LEUKAEMIA["data"]["group"])
    mean = curves[case["group"]].restricted_mean(case["tau"])
    np.testing.assert_allclose([mean.value, mean.std_error], [case["rmst"], case["se"]], rtol=0, atol=1e-8)


def test_the_difference_of_the_means_is_that_of_survrm2() -> None:
    curves = kaplan_meier(PBC["data"]["time"], PBC["data"]["event"], group=PBC["data"]["arm"])
    means = [curves[arm].restricted_mean(PBC["expected"]["tau"]) for arm in (0, 1)]
    value, error = means[1].value - means[0].value, np.hypot(means[0].std_error, means[1].std_error)
    expected = PBC["expected"]["difference"]
    ours = [value, value - 1.959963984540054 * error, value + 1.959963984540054 * error]
    np.testing.assert_allclose(ours, [expected[key] for key in ("estimate", "lower", "upper")], rtol=0, atol=1e-8)


def test_the_printed_means_and_their_difference() -> None:
    curves = kaplan_meier(PBC["data"]["time"], PBC["data"]["event"], group=PBC["data"]["arm"])
    means = [curves[arm].restricted_mean(PBC["expected"]["tau"]) for arm in (1, 0)]
    apart, error = means[0].value - means[1].value, np.hypot(means[0].std_error, means[1].std_error)
    ours = [means[0].value, means[1].value, apart, apart - 1.959963984540054 * error, apart + 1.959963984540054 * error]
    np.testing.assert_array_equal(np.round(ours, 3), PBC["published"][0]["value"])
