"""The cumulative hazard against R's `survival`: the plain estimate, with the Poisson form of its variance."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fieldkit.survival import nelson_aalen

FILE: dict[str, Any] = json.loads((Path(__file__).parent / "cases" / "nelson_aalen_6mp.json").read_text("utf-8"))
TOLERANCE = FILE["tolerance"]["abs"]


@pytest.mark.parametrize("label", FILE["expected"])
@pytest.mark.parametrize(
    ("ours", "theirs"),
    [("time", "time"), ("at_risk", "n_risk"), ("deaths", "n_event"), ("hazard", "cumhaz"), ("std_error", "std_err")],
)
def test_each_column_is_that_of_r(label: str, ours: str, theirs: str) -> None:
    hazards = nelson_aalen(FILE["data"]["time"], FILE["data"]["event"], group=FILE["data"]["group"])
    np.testing.assert_allclose(getattr(hazards[label], ours), FILE["expected"][label][theirs], rtol=0, atol=TOLERANCE)


def test_the_printed_hazards_of_the_6mp_trial() -> None:
    hazard = nelson_aalen(FILE["data"]["time"], FILE["data"]["event"], group=FILE["data"]["group"])["6-MP"]
    printed = hazard.hazard[np.isin(hazard.time, [6, 7, 10, 13, 16, 22, 23])]
    np.testing.assert_array_equal(printed.round(4), FILE["published"][0]["value"])
