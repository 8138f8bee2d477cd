"""The sample's own rows, computed by other libraries: lifelines and statsmodels give the figures that we give."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from lifelines import KaplanMeierFitter
from statsmodels.duration.survfunc import SurvfuncRight

from fieldkit.base import Base
from fieldkit.reports.columns import Columns, columns
from tests.reports.planted import figures


@pytest.fixture(scope="module")
def base(sample: Path) -> Base:
    return Base(sample)


@pytest.fixture(scope="module")
def found(base: Base) -> Columns:
    with base.view() as view:
        return columns(view)


def dated(found: Columns, treatment: Any, site: str) -> tuple[Any, Any, Any]:
    """Of the corals of a site the age at which each was found dead or last seen alive, whether it died, and its weight."""
    rows = found.rows[treatment, "settled"]
    rows = rows[(found.labels["site"] == site)[rows.subject]]
    dead = np.isfinite(rows.right)
    return np.where(dead, rows.right, rows.left), dead, rows.weight


SITES = ("Lantern Bommie", "Old Moorings", "Pandanus Slope", "Ray Steps")
both = pytest.mark.parametrize("treatment", ["lost", "open"])
each = pytest.mark.parametrize("site", SITES)


def curve_of(base: Base, site: str, treatment: str, **question: Any) -> np.ndarray[Any, Any]:
    """Rows of age, survival, lower, upper, at risk."""
    (group,) = figures(base, where={"site": site}, **question)["groups"]
    return np.array(group[f"missing_{treatment}"]["curve"], dtype=np.float64)


@each
@both
def test_lifelines_gives_the_same_kaplan_meier(base: Base, found: Columns, site: str, treatment: str) -> None:
    ours = curve_of(base, site, treatment, estimate="found")
    time, dead, weight = dated(found, treatment, site)
    theirs = KaplanMeierFitter().fit(time, dead, weights=weight)
    assert ours[:, 1] == pytest.approx(theirs.survival_function_at_times(ours[:, 0]).to_numpy(), abs=1e-9)


@each
@both
def test_statsmodels_gives_the_same_kaplan_meier_and_greenwood_error(
    base: Base, found: Columns, site: str, treatment: str
) -> None:
    ours = curve_of(base, site, treatment, estimate="found", limits="greenwood")
    time, dead, weight = dated(found, treatment, site)
    whole = np.repeat(np.arange(len(time)), weight.astype(int))  # statsmodels gives no error for weights: as corals
    theirs = SurvfuncRight(time[whole], dead[whole].astype(int))
    mine = np.isin(ours[:, 0], theirs.surv_times) & (ours[:, 1] < 1)
    place = np.searchsorted(theirs.surv_times, ours[mine, 0])
    survival, error = theirs.surv_prob[place], theirs.surv_prob_se[place]
    assert ours[mine, 1] == pytest.approx(survival, abs=1e-9)
    spread = 1.959963984540054 * error / (survival * np.log(survival))
    assert ours[mine, 2] == pytest.approx(survival ** np.exp(-spread), abs=1e-9)


@each
def test_lifelines_comes_to_the_same_interval_censored_estimate(base: Base, found: Columns, site: str) -> None:
    """At the right ends of the innermost intervals, to a thousandth: lifelines stops when its curve moves little, short of the
    optimum. It takes intervals as closed on both sides; ours are open on the left, so half a day is added there."""
    rows = found.rows["lost", "settled"]
    rows = rows[(found.labels["site"] == site)[rows.subject]]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of pandas, in lifelines
        theirs = KaplanMeierFitter().fit_interval_censoring(rows.left + 0.5, rows.right, weights=rows.weight, tol=1e-8)
    ours = curve_of(base, site, "lost")
    estimate = theirs.survival_function_
    at = np.searchsorted(estimate.index.to_numpy(), ours[:, 0], side="right") - 1
    assert ours[:, 1] == pytest.approx(estimate.iloc[at, -1].to_numpy(), abs=1e-3)


@both
def test_the_estimate_of_all_corals_is_that_of_a_coral_a_row(base: Base, found: Columns, treatment: str) -> None:
    """Weights of counted plots stand for so many corals."""
    (group,) = figures(base, estimate="found")["groups"]
    rows = found.rows[treatment, "settled"]  # type: ignore[index]
    dead, times = np.isfinite(rows.right), np.where(np.isfinite(rows.right), rows.right, rows.left)
    whole = np.repeat(np.arange(len(times)), rows.weight.astype(int))
    theirs = KaplanMeierFitter().fit(times[whole], dead[whole])
    ours = np.array(group[f"missing_{treatment}"]["curve"], dtype=np.float64)
    assert ours[:, 1] == pytest.approx(theirs.survival_function_at_times(ours[:, 0]).to_numpy(), abs=1e-9)
