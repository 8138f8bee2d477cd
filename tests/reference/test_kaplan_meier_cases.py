"""Kaplan-Meier, its limits and its quantiles against R's `survival`, on the founding paper's and other published data."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fieldkit.survival import Curve, kaplan_meier

FOLDER = Path(__file__).parent / "cases"
R_NAME = {"plain": "plain", "log": "log", "log-log": "loglog"}


def read(name: str) -> dict[str, Any]:
    return json.loads((FOLDER / name).read_text("utf-8"))


def cases() -> list[Any]:
    """(data, expected, tolerance) of every published curve, by name."""
    found = []
    for name in ("km_kaplan_meier_1958.json", "km_edge_cases.json"):
        file = read(name)
        for case in file["cases"]:
            data = {"weight" if key == "count" else key: column for key, column in case["data"].items()}
            found.append(pytest.param(data, case["expected"], file["tolerance"]["abs"], id=case["name"]))
    file = read("km_logrank_6mp.json")
    group = np.array(file["data"]["group"])
    for label, expected in file["expected"]["km"].items():
        data = {key: np.array(file["data"][key])[group == label].tolist() for key in ("time", "event")}
        found.append(pytest.param(data, expected, file["tolerance"]["abs"], id=label))
    return found


def agree(ours: Any, theirs: list[float | None], tolerance: float) -> None:
    """Equal wherever the other side is defined; where it is not, anything stands for undefined."""
    defined = np.array([value is not None for value in theirs])
    expected = np.array([np.nan if value is None else value for value in theirs], dtype=float)
    np.testing.assert_allclose(np.asarray(ours)[defined], expected[defined], rtol=0, atol=tolerance)


def curve_of(data: dict[str, Any], interval: Any = "log-log") -> Curve:
    return kaplan_meier(data["time"], data["event"], weight=data.get("weight"), entry=data.get("entry"), interval=interval)


@pytest.mark.parametrize(("data", "expected", "tolerance"), cases())
@pytest.mark.parametrize(
    ("ours", "theirs"), [("time", "time"), ("at_risk", "n_risk"), ("deaths", "n_event"), ("censored", "n_censor")]
)
def test_the_counts_of_each_age_are_those_of_r(data: Any, expected: Any, tolerance: float, ours: str, theirs: str) -> None:
    agree(getattr(curve_of(data), ours), expected[theirs], tolerance)


@pytest.mark.parametrize(("data", "expected", "tolerance"), cases())
def test_survival_is_that_of_r(data: Any, expected: Any, tolerance: float) -> None:
    agree(curve_of(data).survival, expected["survival"], tolerance)


@pytest.mark.parametrize(("data", "expected", "tolerance"), cases())
def test_greenwoods_error_is_that_of_r(data: Any, expected: Any, tolerance: float) -> None:
    curve = curve_of(data)
    agree(curve.std_error, expected["std_err_S"], tolerance)
    agree(curve.greenwood, expected["var_greenwood_sum"], tolerance)


@pytest.mark.parametrize(("data", "expected", "tolerance"), cases())
@pytest.mark.parametrize("interval", R_NAME)
def test_limits_are_those_of_r(data: Any, expected: Any, tolerance: float, interval: str) -> None:
    curve = curve_of(data, interval)
    agree(curve.lower, expected[R_NAME[interval]]["lower"], tolerance)
    agree(curve.upper, expected[R_NAME[interval]]["upper"], tolerance)


@pytest.mark.parametrize(("data", "expected", "tolerance"), cases())
@pytest.mark.parametrize("interval", R_NAME)
def test_quantiles_and_their_limits_are_those_of_r(data: Any, expected: Any, tolerance: float, interval: str) -> None:
    curve = curve_of(data, interval)
    theirs = expected[f"quantiles_{R_NAME[interval]}"]
    ours = [curve.quantile(share) for share in theirs["prob"]]
    agree([one.value for one in ours], theirs["q"], tolerance)
    for side in ("lower", "upper"):
        if side in theirs:  # R gives none with late entry
            agree([getattr(one, side) for one in ours], theirs[side], tolerance)


@pytest.mark.parametrize(("data", "expected", "tolerance"), cases())
def test_what_r_never_reaches_has_no_value_here(data: Any, expected: Any, tolerance: float) -> None:
    curve = curve_of(data)
    theirs = expected["quantiles_loglog"]
    never = [share for share, age in zip(theirs["prob"], theirs["q"], strict=True) if age is None]
    assert all(np.isnan(curve.quantile(share).value) for share in never)


def test_times_that_differ_by_rounding_are_one_age() -> None:
    curve = kaplan_meier([0.1 + 0.2, 0.3, 0.7, 0.1 * 7, 1], [1, 1, 1, 0, 1])
    np.testing.assert_allclose(curve.time, [0.3, 0.7, 1])
    np.testing.assert_array_equal(curve.deaths, [2, 1, 1])


def test_weights_give_the_curve_and_error_of_the_single_rows() -> None:
    data = read("km_kaplan_meier_1958.json")["cases"][1]["data"]
    weighted = kaplan_meier(data["time"], data["event"], weight=data["count"])
    single = kaplan_meier(np.repeat(data["time"], data["count"]), np.repeat(data["event"], data["count"]))
    np.testing.assert_allclose(weighted.survival, single.survival, rtol=1e-14)
    np.testing.assert_allclose(weighted.std_error, single.std_error, rtol=1e-12)


def test_the_printed_survival_of_the_6mp_trial() -> None:
    file = read("km_logrank_6mp.json")
    curve = kaplan_meier(file["data"]["time"], file["data"]["event"], group=file["data"]["group"])["6-MP"]
    np.testing.assert_array_equal(curve.at([6, 7, 10, 13, 16, 22, 23]).round(3), file["published"][0]["value"])


def test_the_printed_medians_of_the_6mp_trial() -> None:
    file = read("km_logrank_6mp.json")
    curves = kaplan_meier(file["data"]["time"], file["data"]["event"], group=file["data"]["group"])
    assert [curves[label].median().value for label in ("6-MP", "placebo")] == file["published"][1]["value"]
