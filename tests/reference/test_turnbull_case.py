"""The NPMLE against published masses (Fay & Shaw 2010) and an interior-point program that four R packages confirm."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fieldkit.survival import IntervalCurve, turnbull

FILE: dict[str, Any] = json.loads((Path(__file__).parent / "cases" / "turnbull_breast_cosmesis.json").read_text("utf-8"))
LEFT = np.array(FILE["data"]["left"], dtype=float)
RIGHT = np.array([float(end) for end in FILE["data"]["right"]])  # "inf" reads as infinity
LABELS = list(FILE["expected"])


def curve_of(label: str) -> IntervalCurve:
    return turnbull(LEFT, RIGHT) if label == "all" else turnbull(LEFT, RIGHT, group=FILE["data"]["group"])[label]


@pytest.mark.parametrize("label", LABELS)
def test_the_intervals_with_mass_are_the_published_ones(label: str) -> None:
    curve = curve_of(label)
    assert np.column_stack((curve.left, curve.right)).tolist() == FILE["expected"][label]["support"]


@pytest.mark.parametrize("label", LABELS)
def test_the_masses_are_the_published_ones(label: str) -> None:
    expected = FILE["expected"][label]["mass"]
    np.testing.assert_allclose(curve_of(label).mass, expected, rtol=0, atol=FILE["tolerance"]["mass_abs"])


@pytest.mark.parametrize("label", LABELS)
def test_survival_at_the_right_ends_is_the_published_one(label: str) -> None:
    curve = curve_of(label)
    ends = [end for _, end in FILE["expected"][label]["support"]]
    expected = FILE["expected"][label]["survival_at_right_end"]
    np.testing.assert_allclose(curve.at(ends), expected, rtol=0, atol=FILE["tolerance"]["survival_abs"])


@pytest.mark.parametrize("label", LABELS)
def test_the_log_likelihood_is_the_published_one(label: str) -> None:
    curve = curve_of(label)
    group = np.array(FILE["data"]["group"])
    mine = np.ones(LEFT.size, dtype=bool) if label == "all" else group == label
    inside = (curve.left >= LEFT[mine, None]) & (curve.right <= RIGHT[mine, None])
    likelihood = np.log(inside @ curve.mass).sum()
    assert likelihood == pytest.approx(FILE["expected"][label]["loglik"], abs=FILE["tolerance"]["loglik_abs"])


@pytest.mark.parametrize("label", LABELS)
def test_the_median_lies_in_the_published_interval(label: str) -> None:
    median = curve_of(label).median()
    assert [median.low, median.high] == FILE["expected"][label]["median_lies_in"]


@pytest.mark.parametrize("label", LABELS)
def test_the_proven_gap_is_within_the_tolerance_of_the_case(label: str) -> None:
    assert curve_of(label).gap + 1e-12 >= 0
    assert curve_of(label).gap <= FILE["tolerance"]["max_gradient_minus_1"]


@pytest.mark.parametrize("at", [0, 1], ids=["radiotherapy", "with chemotherapy"])
def test_the_printed_masses_to_their_digits(at: int) -> None:
    printed = FILE["published"][at]["value"]
    np.testing.assert_array_equal(curve_of(LABELS[at]).mass.round(4), printed)
