"""Cumulative incidence against R's `survival`, `etm` and `cmprsk`."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fieldkit.survival import cumulative_incidence

FILE: dict[str, Any] = json.loads((Path(__file__).parent / "cases" / "competing_risks_bmt.json").read_text("utf-8"))
DATA = FILE["data"]
TOLERANCE = FILE["tolerance"]["abs"]
GROUP_AND_CAUSE = pytest.mark.parametrize(
    ("label", "code", "cause"), [("ALL", 0, 1), ("ALL", 0, 2), ("AML", 1, 1), ("AML", 1, 2)]
)


def incidence_of(code: int) -> Any:
    return cumulative_incidence(DATA["time"], DATA["status"], group=DATA["group"])[code]


@GROUP_AND_CAUSE
def test_incidence_is_that_of_r_also_where_losses_tie_at_time_0(label: str, code: int, cause: int) -> None:
    expected = FILE["expected"][label][f"cause_{cause}"]["cif"]
    np.testing.assert_allclose(incidence_of(code).incidence[cause], expected, rtol=0, atol=TOLERANCE)


@GROUP_AND_CAUSE
def test_variance_is_of_the_greenwood_type(label: str, code: int, cause: int) -> None:
    expected = FILE["expected"][label][f"cause_{cause}"]["variance_greenwood"]
    np.testing.assert_allclose(incidence_of(code).variance[cause], expected, rtol=0, atol=TOLERANCE)


@pytest.mark.parametrize(("label", "code"), [("ALL", 0), ("AML", 1)])
@pytest.mark.parametrize(("ours", "theirs"), [("time", "time"), ("at_risk", "n_risk"), ("survival", "overall_survival")])
def test_the_other_columns_are_those_of_r(label: str, code: int, ours: str, theirs: str) -> None:
    expected = FILE["expected"][label][theirs]
    np.testing.assert_allclose(getattr(incidence_of(code), ours), expected, rtol=0, atol=TOLERANCE)
