"""Limits over clusters against R's cluster-robust standard error and a plain bootstrap of 20,000 replicates."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fieldkit.survival import Resampled, bootstrap_survival

FILE: dict[str, Any] = json.loads((Path(__file__).parent / "cases" / "cluster_kidney.json").read_text("utf-8"))
EXPECTED, TOLERANCE = FILE["expected"], FILE["tolerance"]


@pytest.fixture(scope="module")
def limits() -> Resampled:
    time, dead = np.array(FILE["data"]["time"], dtype=float), np.array(FILE["data"]["status"])
    return bootstrap_survival(time, np.where(dead == 1, time, np.inf), FILE["data"]["id"], EXPECTED["at"], seed=1958)


def test_the_estimate_is_kaplan_meiers_where_every_death_has_its_day(limits: Resampled) -> None:
    np.testing.assert_allclose(limits.survival, EXPECTED["survival"], rtol=0, atol=TOLERANCE["survival_abs"])


def test_the_error_comes_close_to_the_robust_one(limits: Resampled) -> None:
    np.testing.assert_allclose(limits.std_error, EXPECTED["se_cluster_ij"], rtol=TOLERANCE["bootstrap_se_relative"])


def test_the_error_comes_close_to_that_of_twenty_thousand_replicates(limits: Resampled) -> None:
    np.testing.assert_allclose(limits.std_error, EXPECTED["bootstrap_20000"]["se"], rtol=TOLERANCE["bootstrap_se_relative"])


@pytest.mark.parametrize(("ours", "theirs"), [("lower", "lower_2_5"), ("upper", "upper_97_5")])
def test_the_limits_come_close_to_its_percentiles(limits: Resampled, ours: str, theirs: str) -> None:
    expected = EXPECTED["bootstrap_20000"][theirs]
    np.testing.assert_allclose(getattr(limits, ours), expected, rtol=0, atol=TOLERANCE["bootstrap_limit_abs"])
