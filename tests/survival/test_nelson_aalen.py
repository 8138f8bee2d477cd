"""The cumulative hazard beside the survival curve."""

from __future__ import annotations

import numpy as np

from fieldkit.survival import nelson_aalen


def test_each_death_adds_its_share_of_those_at_risk() -> None:
    hazard = nelson_aalen([10, 20, 30], [1, 0, 1])
    assert hazard.hazard.tolist() == [1 / 3, 1 / 3, 4 / 3]
    np.testing.assert_allclose(hazard.std_error**2, [1 / 9, 1 / 9, 10 / 9])


def test_late_entries_are_at_risk_from_the_day_after() -> None:
    assert nelson_aalen([3, 5, 6], [1, 1, 0], entry=[0, 3, 3]).at_risk.tolist() == [1, 2, 1]


def test_a_weight_is_as_many_corals() -> None:
    assert nelson_aalen([10, 20], [1, 0], weight=[2, 6]).hazard.tolist() == [0.25, 0.25]


def test_no_corals_at_all_have_no_hazard() -> None:
    assert nelson_aalen([], []).hazard.size == 0
