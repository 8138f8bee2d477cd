"""What took the corals: shares by cause, against a case worked by hand, R's errors, and on what they must add up to."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date
from math import exp, log
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.special import stdtrit

from fieldkit.base import View
from fieldkit.reports.causes import Causes, causes, plot_errors
from fieldkit.reports.errors import QuestionError
from fieldkit.reports.question import Question
from fieldkit.reports.survival import answer
from fieldkit.survival import cumulative_incidence
from tests.reports.reef import Sites

KIDNEY: dict[str, Any] = json.loads(
    (Path(__file__).parents[1] / "reference" / "cases" / "cluster_kidney.json").read_text("utf-8")
)


@pytest.fixture(scope="module")
def view(tmp_path_factory: pytest.TempPathFactory) -> Iterator[View]:
    """Site A: two plots of five corals, seen at 92 and 184 days. Site B: a counted plot."""
    sites = Sites()
    one, two = sites.plant("A1", "G1", 5), sites.plant("A2", "G1", 5)
    first = ["dead heat", "missing", "alive", "alive", "alive"]
    sites.dive("A", "2024-06-01", dict(zip(one, first, strict=True)) | dict.fromkeys(two, "alive"))
    sites.dive("A", "2024-09-01", dict(zip(one[2:], ["dead heat", "dead", "alive"], strict=True)))
    sites.dive("A", "2024-09-01", dict(zip(two, ["dead predation", "missing", "alive", "alive", "alive"], strict=True)))
    sites.plant_counted("B1", "G2", 10)
    sites.count("B", "2024-06-01", "B1", "G2", 6, 3, 1)
    with sites.base(tmp_path_factory.mktemp("causes")).view() as opened:
        yield opened


def of_site(view: View, site: str, **asked: Any) -> Causes:
    return causes(view, Question(where={"site": site}, **asked))


def shares(found: Causes, age: int, treatment: str = "lost") -> dict[str, float]:
    at = next(at for at in getattr(found.groups[0], treatment).at if at.age == age)
    return {name: round(share.share, 6) for name, share in at.causes.items()}


def test_missing_is_a_cause_of_its_own_where_it_counts_as_lost(view: View) -> None:
    # Ten at risk at 92 days, one lost to heat, one missing. Eight left, and at 184 days one each of heat, predation, nobody
    # knows what, and missing: 0.8 x 1/8 each.
    found = of_site(view, "A", at=(92, 184))
    assert shares(found, 92) == {"heat": 0.1, "predation": 0, "unknown": 0, "missing": 0.1}
    assert shares(found, 184) == {"heat": 0.2, "predation": 0.1, "unknown": 0.1, "missing": 0.2}


def test_missing_left_open_is_censored_at_the_last_sighting(view: View) -> None:
    # Missing at 92 leaves at 0: nine at risk, one lost to heat. Missing at 184 leaves at 92: seven at risk, three lost.
    found = of_site(view, "A", at=(184,))
    each = 8 / 9 / 7
    assert shares(found, 184, "open") == {
        "heat": round(1 / 9 + each, 6),
        "predation": round(each, 6),
        "unknown": round(each, 6),
    }


def test_counts_by_cause_add_up_to_all_that_was_lost(view: View) -> None:
    assert of_site(view, "A").groups[0].lost.lost_to == {"heat": 2, "predation": 1, "unknown": 1, "missing": 2}


def test_a_counted_plot_knows_dead_from_missing_but_no_cause(view: View) -> None:
    group = of_site(view, "B").groups[0]
    assert group.lost.lost_to == {"unknown": 3, "missing": 1}
    assert group.open.lost_to == {"unknown": 3}


@pytest.mark.parametrize("treatment", ["lost", "open"])
def test_shares_and_survival_add_up_to_one(view: View, treatment: str) -> None:
    found = causes(view, Question(by=("site", "plot"), at=(0, 50, 92, 184)))
    for group in found.groups:
        for at in getattr(group, treatment).at:
            assert at.survival + sum(share.share for share in at.causes.values()) == pytest.approx(1, abs=1e-12)


def test_survival_is_that_of_deaths_dated_when_found(view: View) -> None:
    curve = answer(view, Question(where={"site": "A"}, at=(92, 184), estimate="found", limits="none"))["groups"][0]
    found = of_site(view, "A", at=(92, 184)).groups[0]
    assert [at.survival for at in found.lost.at] == pytest.approx([at["survival"] for at in curve["missing_lost"]["at"]])
    assert [at.survival for at in found.open.at] == pytest.approx([at["survival"] for at in curve["missing_open"]["at"]])


def test_errors_over_plots_are_those_of_r_for_one_cause() -> None:
    # R leaves out the factor plots / (plots - 1), which makes up for few.
    data, expected = KIDNEY["data"], KIDNEY["expected"]
    _, plot = np.unique(data["id"], return_inverse=True)
    ages = np.array(expected["at"], dtype=float)
    found = plot_errors(np.array(data["time"], dtype=float), np.array(data["status"]), np.ones(plot.size), plot, ages)
    plots = plot.max() + 1
    np.testing.assert_allclose(found[1] * ((plots - 1) / plots) ** 0.5, expected["se_cluster_ij"], rtol=0, atol=1e-8)


def test_errors_over_plots_are_made_of_how_far_each_plot_moves_a_share() -> None:
    by_chance = np.random.default_rng(1)
    time, cause = by_chance.integers(1, 20, 80) * 1.0, by_chance.integers(0, 4, 80)
    plot, weight, ages = np.repeat(np.arange(8), 10), by_chance.integers(1, 4, 80) * 1.0, np.array([3.0, 8, 19])
    step = 1e-6

    def share(moved: int, by: float) -> np.ndarray[Any, np.dtype[np.float64]]:
        scaled = np.where(plot == moved, weight * (1 + by), weight)
        return np.asarray(cumulative_incidence(time, cause, weight=scaled).at(ages)[2])

    moves = [(share(one, step) - share(one, -step)) / (2 * step) for one in range(8)]
    expected = np.sqrt(np.sum(np.square(moves), axis=0) * 8 / 7)
    np.testing.assert_allclose(plot_errors(time, cause, weight, plot, ages)[2], expected, rtol=1e-6)


def test_limits_over_plots_of_a_case_worked_by_hand(view: View) -> None:
    # At 92 days 1 of 5 and 0 of 5 are lost to heat: the plots move the share 0.1 by (1 - 0.5) / 10 and by -0.5 / 10, so that
    # the error is sqrt(2 x 0.05^2 x 2 / 1) = 0.1. Limits 12.706 errors away (1 degree of freedom) on the scale of log(-log).
    share = of_site(view, "A", at=(92,)).groups[0].lost.at[0].causes["heat"]
    turn = exp(stdtrit(1, 0.975) * 0.1 / (0.1 * -log(0.1)))
    assert (share.lower, share.upper) == (pytest.approx(0.1**turn), pytest.approx(0.1 ** (1 / turn)))


def test_limits_for_independent_corals_are_greenwoods(view: View) -> None:
    # Without censoring a share is a share of ten: its error is sqrt(0.1 x 0.9 / 10).
    share = of_site(view, "A", at=(92,), limits="greenwood", estimate="found").groups[0].lost.at[0].causes["heat"]
    turn = exp(1.959964 * (0.009**0.5) / (0.1 * -log(0.1)))
    assert share.lower == pytest.approx(0.1**turn, rel=1e-6)


def test_one_plot_gives_no_limits(view: View) -> None:
    share = causes(view, Question(where={"plot": "A A1"}, at=(92,))).groups[0].lost.at[0].causes["heat"]
    assert (share.share, share.lower, share.upper) == (0.2, None, None)


def test_since_tells_what_took_those_alive_then(view: View) -> None:
    found = of_site(view, "A", since=date(2024, 7, 1), at=(62,))
    assert found.groups[0].corals == 8
    assert shares(found, 62) == {"heat": 0.125, "predation": 0.125, "unknown": 0.125, "missing": 0.125}


def test_as_of_takes_no_later_loss(view: View) -> None:
    assert of_site(view, "A", as_of=date(2024, 7, 1)).groups[0].lost.lost_to == {"heat": 1, "missing": 1}


def test_rounds_need_a_protocol(view: View) -> None:
    with pytest.raises(QuestionError):
        causes(view, Question(estimate="round"))


def test_json_has_plain_values_alone(view: View) -> None:
    plain = causes(view, Question(by=("site",), at=(92,))).to_json()
    assert json.loads(json.dumps(plain)) == plain
