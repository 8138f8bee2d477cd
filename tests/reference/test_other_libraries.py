"""Our estimates beside those of lifelines, statsmodels and SciPy on generated corals: the same to 1e-9 where defined alike."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import statsmodels.api as sm
from lifelines import AalenJohansenFitter, KaplanMeierFitter, NelsonAalenFitter
from lifelines.statistics import multivariate_logrank_test
from lifelines.utils import restricted_mean_survival_time
from scipy.stats import CensoredData, ecdf
from statsmodels.duration.survfunc import CumIncidenceRight, survdiff
from statsmodels.stats.multitest import multipletests

from fieldkit.survival import cumulative_incidence, holm, kaplan_meier, logrank, nelson_aalen

SEEDS = pytest.mark.parametrize("seed", range(5))


def corals(seed: int, n: int = 300) -> dict[str, Any]:
    """Whole days with many ties, five groups of unequal fate, three strata, entries, counts."""
    rng = np.random.default_rng(seed)
    group = rng.integers(0, 5, n)
    dies = rng.exponential(200 * (1 + group))
    leaves = rng.uniform(50, 700, n)
    time = np.ceil(np.minimum(dies, leaves)) + 1
    return {
        "time": time,
        "event": dies <= leaves,
        "group": group,
        "strata": rng.integers(0, 3, n),
        "entry": np.floor(time * rng.uniform(0, 0.9, n)),
        "weight": rng.integers(1, 6, n).astype(float),
        "cause": np.where(dies <= leaves, rng.integers(1, 4, n), 0),
    }


@SEEDS
@pytest.mark.parametrize("entry", [False, True])
@pytest.mark.parametrize("weight", [False, True])
def test_kaplan_meier_is_that_of_lifelines_with_late_entry_and_weights(seed: int, entry: bool, weight: bool) -> None:
    c = corals(seed)
    extra = {"entry": c["entry"] if entry else None, "weight": c["weight"] if weight else None}
    ours = kaplan_meier(c["time"], c["event"], **extra)
    theirs = KaplanMeierFitter().fit(c["time"], c["event"], entry=extra["entry"], weights=extra["weight"])
    np.testing.assert_allclose(ours.survival, theirs.predict(ours.time).to_numpy(), rtol=0, atol=1e-9)


@SEEDS
def test_the_log_log_limits_are_those_of_lifelines(seed: int) -> None:
    c = corals(seed)
    ours = kaplan_meier(c["time"], c["event"], level=0.9)
    theirs = KaplanMeierFitter(alpha=0.1).fit(c["time"], c["event"]).confidence_interval_.loc[ours.time]
    known = np.isfinite(ours.lower)
    np.testing.assert_allclose(ours.lower[known], theirs.iloc[:, 0].to_numpy()[known], rtol=0, atol=1e-9)
    np.testing.assert_allclose(ours.upper[known], theirs.iloc[:, 1].to_numpy()[known], rtol=0, atol=1e-9)


@SEEDS
def test_survival_error_and_risk_are_those_of_statsmodels_in_every_group(seed: int) -> None:
    c = corals(seed)
    curves = kaplan_meier(c["time"], c["event"], group=c["group"])
    for label, curve in curves.items():
        mine = c["group"] == label
        theirs = sm.SurvfuncRight(c["time"][mine], c["event"][mine].astype(int))
        rows = np.searchsorted(curve.time, theirs.surv_times)
        np.testing.assert_allclose(curve.survival[rows], theirs.surv_prob, rtol=0, atol=1e-9)
        np.testing.assert_allclose(curve.std_error[rows][:-1], theirs.surv_prob_se[:-1], rtol=0, atol=1e-9)
        np.testing.assert_array_equal(curve.at_risk[rows], theirs.n_risk)


@SEEDS
def test_survival_is_that_of_scipys_distribution_function(seed: int) -> None:
    c = corals(seed)
    theirs = ecdf(CensoredData.right_censored(c["time"], ~c["event"])).sf
    ours = kaplan_meier(c["time"], c["event"])
    np.testing.assert_allclose(ours.at(theirs.quantiles), theirs.probabilities, rtol=0, atol=1e-9)


@SEEDS
def test_the_restricted_mean_is_that_of_lifelines(seed: int) -> None:
    c = corals(seed)
    theirs = restricted_mean_survival_time(KaplanMeierFitter().fit(c["time"], c["event"]), t=400)
    assert kaplan_meier(c["time"], c["event"]).restricted_mean(400).value == pytest.approx(theirs, abs=1e-9)


@SEEDS
def test_the_cumulative_hazard_is_that_of_lifelines(seed: int) -> None:
    c = corals(seed)
    ours = nelson_aalen(c["time"], c["event"], entry=c["entry"])
    theirs = NelsonAalenFitter(nelson_aalen_smoothing=False).fit(c["time"], c["event"], entry=c["entry"])
    np.testing.assert_allclose(ours.hazard, theirs.predict(ours.time).to_numpy(), rtol=0, atol=1e-9)


@SEEDS
def test_the_log_rank_test_of_five_groups_is_that_of_lifelines(seed: int) -> None:
    c = corals(seed)
    ours = logrank(c["time"], c["event"], c["group"], weight=c["weight"])
    theirs = multivariate_logrank_test(c["time"], c["group"], c["event"], weights=c["weight"])
    assert ours.statistic == pytest.approx(theirs.test_statistic, rel=1e-9)
    assert ours.p_value == pytest.approx(theirs.p_value, rel=1e-9)


@SEEDS
@pytest.mark.parametrize("column", ["strata", "entry"])  # with both at once, statsmodels 0.15 fails
def test_the_stratified_and_the_late_entry_log_rank_test_are_those_of_statsmodels(seed: int, column: str) -> None:
    c = corals(seed)
    extra = {column: c[column]}
    ours = logrank(c["time"], c["event"], c["group"], **extra)
    theirs = survdiff(c["time"], c["event"].astype(int), c["group"], **extra)
    assert ours.statistic == pytest.approx(theirs[0], rel=1e-9)
    assert ours.p_value == pytest.approx(theirs[1], abs=1e-9)


@SEEDS
def test_cumulative_incidence_is_that_of_lifelines(seed: int) -> None:
    c = corals(seed)
    distinct = np.argsort(np.argsort(c["time"], kind="stable"), kind="stable") + 1.0  # lifelines breaks ties at random
    ours = cumulative_incidence(distinct, c["cause"])
    for cause in (1, 2, 3):
        theirs = AalenJohansenFitter(calculate_variance=False).fit(distinct, c["cause"], event_of_interest=cause)
        np.testing.assert_allclose(ours.incidence[cause], theirs.predict(ours.time).to_numpy(), rtol=0, atol=1e-9)


@SEEDS
def test_cumulative_incidence_and_its_error_are_those_of_statsmodels_with_ties(seed: int) -> None:
    c = corals(seed)
    ours, theirs = cumulative_incidence(c["time"], c["cause"]), CumIncidenceRight(c["time"], c["cause"])
    rows = np.searchsorted(ours.time, theirs.times)
    for cause in (1, 2, 3):
        np.testing.assert_allclose(ours.incidence[cause][rows], theirs.cinc[cause - 1], rtol=0, atol=1e-9)
        np.testing.assert_allclose(np.sqrt(ours.variance[cause][rows]), theirs.cinc_se[cause - 1], rtol=0, atol=1e-9)


@SEEDS
def test_holms_adjustment_is_that_of_statsmodels(seed: int) -> None:
    p_values = np.random.default_rng(seed).uniform(0, 0.2, 12) ** 2
    np.testing.assert_allclose(holm(p_values), multipletests(p_values, method="holm")[1], rtol=1e-12)
