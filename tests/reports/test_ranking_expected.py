"""Losses due to each coral, against a case worked by hand, a published score, and R's expected deaths."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fieldkit.reports.ranking.expected import expected_losses

CASES = Path(__file__).parents[1] / "reference" / "cases"
COSMESIS: dict[str, Any] = json.loads((CASES / "turnbull_breast_cosmesis.json").read_text("utf-8"))
MANY: dict[str, Any] = json.loads((CASES / "logrank_k_groups.json").read_text("utf-8"))


def due(left: list[float], right: list[float], stratum: list[int] | None = None) -> list[float]:
    rows = np.array(left, dtype=float), np.array(right, dtype=float), np.ones(len(left))
    return expected_losses(*rows, np.array(stratum or [0] * len(left))).tolist()


def cosmesis_scores() -> tuple[np.ndarray[Any, np.dtype[np.float64]], np.ndarray[Any, np.dtype[np.bool_]]]:
    right = np.array([float(end) for end in COSMESIS["data"]["right"]])
    scores = np.isfinite(right) - np.array(due(COSMESIS["data"]["left"], right.tolist()))
    return scores, np.array(COSMESIS["data"]["group"]) == "radiotherapy"


def test_losses_due_of_a_case_worked_by_hand() -> None:
    # Two of four lost in (0, 30], one of two in (30, 90]: due are 1/2 by day 30 and 1/2 + 1/2 by day 90.
    assert due([0, 0, 30, 90], [30, 30, 90, float("inf")]) == pytest.approx([0.5, 0.5, 1, 1])


def test_a_coral_lost_some_time_in_a_long_interval_is_due_the_mean_over_it() -> None:
    # A fifth coral, lost in (0, 90], shares itself out: masses 8/15 and 4/15, hazards 8/15 and 4/7. So it is due 8/15 in two
    # cases of three, and 8/15 + 4/7 in the third.
    found = due([0, 0, 30, 90, 0], [30, 30, 90, float("inf"), 90])
    assert found[4] == pytest.approx(8 / 15 + 4 / 7 / 3, abs=1e-6)


def test_as_many_losses_are_due_in_a_stratum_as_were_seen() -> None:
    inf = float("inf")
    found = due([0, 30, 30, 0, 50, 50], [30, 90, inf, 50, 90, inf], [0, 0, 0, 1, 1, 1])
    assert sum(found[:3]) == pytest.approx(2)
    assert sum(found[3:]) == pytest.approx(2)


def test_scores_of_intervals_add_up_to_the_published_test() -> None:
    # Fay & Shaw 2010 print Z = -2.6684: the permutation form of the test with Sun's scores.
    scores, one = cosmesis_scores()
    variance = np.sum((scores - scores.mean()) ** 2) * np.sum((one - one.mean()) ** 2) / (one.size - 1)
    published = next(entry for entry in COSMESIS["published"] if "score" in entry["quantity"])
    z = scores[one].sum() / np.sqrt(variance)
    assert z == pytest.approx(published["computed"][0], abs=1e-6)
    assert round(z, 4) == published["value"][0]


@pytest.mark.parametrize("case", MANY["cases"], ids=lambda case: str(case["name"]))
def test_losses_due_where_each_death_has_its_day_are_those_of_r(case: Any) -> None:
    data, expected = case["data"], case["expected"]
    time = np.array(data["time"], dtype=float)
    right = np.where(np.array(data["event"]) == 1, time, np.inf)
    labels = sorted(set(data["group"]))
    found = np.array(due(time.tolist(), right.tolist()))
    by_group = [found[np.array(data["group"]) == label].sum() for label in labels]
    np.testing.assert_allclose(by_group, expected["logrank"]["expected"], rtol=0, atol=1e-6)


def test_which_of_two_plots_is_visited_first_in_a_round_is_no_matter() -> None:
    # Half of either plot die by the same day; the first plot is seen on day 100, the second on day 107.
    left, right = (
        [0.0] * 10 + [100.0] * 10 + [0.0] * 10 + [107.0] * 10,
        [100.0] * 10 + [np.inf] * 10 + [107.0] * 10 + [np.inf] * 10,
    )
    found = np.array(due(left, right))
    dated = np.array(due([r if np.isfinite(r) else a for a, r in zip(left, right, strict=True)], right))
    assert abs(10 - found[:20].sum()) < 1e-6
    assert dated[:20].sum() < 8
