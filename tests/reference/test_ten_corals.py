"""The ten corals that the documentation works out by hand: both ways of counting the missing, both estimates.

Outplanted on one day, visited at 30, 90, 180 and 365 days. Five live throughout; #6 is dead at 90; #7 missing from 90 on;
#8 dead at 365; #9 missing at 180 but alive at 365; #10 alive at 180, missing at 365. Computed by hand (8/9 x 6/7, …).
"""

from __future__ import annotations

import numpy as np
import pytest

from fieldkit.survival import bootstrap_survival, kaplan_meier, turnbull

VISITS = [30, 90, 180, 365]
INF = np.inf
LEFT = np.array([365, 365, 365, 365, 365, 30, 30, 180, 365, 180], dtype=float)
RIGHT = {
    "counted as lost": np.array([INF, INF, INF, INF, INF, 90, 90, 365, INF, 365]),
    "left open": np.array([INF, INF, INF, INF, INF, 90, INF, 365, INF, INF]),
}
SURVIVAL = {"counted as lost": [1, 0.8, 0.8, 0.6], "left open": [1, 8 / 9, 8 / 9, 8 / 9 * 6 / 7]}
MASS = {"counted as lost": {(30, 90): 0.2, (180, 365): 0.2}, "left open": {(30, 90): 1 / 9, (180, 365): 8 / 63}}
MISSING = pytest.mark.parametrize("missing", RIGHT)


def found(missing: str) -> tuple[np.ndarray, np.ndarray]:
    """Deaths dated when found."""
    dead = np.isfinite(RIGHT[missing])
    return np.where(dead, RIGHT[missing], LEFT), dead


@MISSING
def test_the_npmle_at_the_visits(missing: str) -> None:
    np.testing.assert_allclose(turnbull(LEFT, RIGHT[missing]).at(VISITS), SURVIVAL[missing], rtol=0, atol=1e-9)


@MISSING
def test_kaplan_meier_with_deaths_dated_when_found_at_the_visits(missing: str) -> None:
    np.testing.assert_allclose(kaplan_meier(*found(missing)).at(VISITS), SURVIVAL[missing], rtol=0, atol=1e-12)


@MISSING
def test_the_masses_of_the_npmle(missing: str) -> None:
    curve = turnbull(LEFT, RIGHT[missing])
    masses = {(left, right): mass for left, right, mass in zip(curve.left, curve.right, curve.mass, strict=True)}
    assert {ends: pytest.approx(mass, abs=1e-9) for ends, mass in MASS[missing].items()}.items() <= masses.items()


def test_greenwoods_error_and_log_log_limits_at_a_year() -> None:
    at_a_year = kaplan_meier(*found("counted as lost")).figures([365])
    figures = [at_a_year.std_error[0], at_a_year.lower[0], at_a_year.upper[0]]
    np.testing.assert_array_equal(np.round(figures, 4), [0.1549, 0.2527, 0.8272])


def test_the_limits_over_plots_stand_around_the_same_estimate() -> None:
    plot = np.arange(10) % 5
    limits = bootstrap_survival(LEFT, RIGHT["counted as lost"], plot, VISITS, seed=1)
    np.testing.assert_allclose(limits.survival, SURVIVAL["counted as lost"], rtol=0, atol=1e-9)
    assert limits.lower[3] < 0.6 < limits.upper[3]
