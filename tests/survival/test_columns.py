"""Bad input is refused with the argument, the first bad row, its value and the cure; all faults of a call at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from fieldkit.survival import (
    IntervalError,
    SurvivalError,
    bootstrap_difference,
    bootstrap_survival,
    cumulative_incidence,
    difference,
    kaplan_meier,
    logrank,
    nelson_aalen,
    turnbull,
    wilson,
)

INF, NAN = np.inf, np.nan
CURVE = kaplan_meier([30, 60], [1, 0])

FAULTY: list[tuple[Callable[[], Any], str]] = [
    (lambda: kaplan_meier([30, NAN, NAN], [1, 0, 1]), "“time”, row 1: nan is no age in days. Such rows: 2."),
    (lambda: kaplan_meier([30, INF], [1, 0]), "“time”, row 1: inf is no age"),
    (lambda: kaplan_meier([30, -4], [1, 0]), "“time”, row 1: -4 lies before the outplanting"),
    (lambda: kaplan_meier([30, 60], [1, 2]), "“event”, row 1: 2 is neither 0 nor 1"),
    (lambda: kaplan_meier([30, 60], [1, NAN]), "“event”, row 1: nan is neither"),
    (lambda: kaplan_meier([30, 60], [True]), "“event” has 1 rows, the first column 2"),
    (lambda: kaplan_meier([30, 60], [1, 0], weight=[1, -1]), "“weight”, row 1: -1 cannot be a number of corals"),
    (lambda: kaplan_meier([30, 60], [1, 0], weight=[1, INF]), "“weight”, row 1: inf"),
    (lambda: kaplan_meier([30, 60], [1, 0], entry=[0, 60]), "Row 1: under observation from day 60, but not beyond day 60"),
    (lambda: kaplan_meier([30, 60], [1, 0], group=["a"]), "“group” has 1 rows"),
    (lambda: kaplan_meier([30, 60], [1, 0], group=["a", NAN]), "Row 1: the label is NaN"),
    (lambda: kaplan_meier([30, 60], [1, 0], level=95), "The level 95 is not between 0 and 1"),
    (lambda: kaplan_meier([30, 60], [1, 0], interval="wald"), "There is no interval “wald”. Known are: log-log, log"),  # type: ignore[call-overload]
    (lambda: kaplan_meier([[30, 60]], [1, 0]), r"“time” has the shape (1, 2)"),
    (lambda: kaplan_meier(["thirty"], [1]), "“time” holds something that is no number: could not convert string"),
    (lambda: nelson_aalen([30, NAN], [1, 0]), "“time”, row 1: nan is no age"),
    (lambda: turnbull([30, 60], [20, INF]), "Row 0: found dead on day 20, but last seen alive on day 30"),
    (lambda: turnbull([30, 60], [40, NAN]), "“right”, row 1: nan is no age"),
    (lambda: turnbull([30, INF], [40, INF]), "“left”, row 1: inf is no age"),
    (lambda: cumulative_incidence([30, 60], [1, 1.5]), "“cause”, row 1: 1.5 is no cause"),
    (lambda: cumulative_incidence([30, 60], [1, -1]), "“cause”, row 1: -1 is no cause"),
    (lambda: cumulative_incidence([30, 60], [1, INF]), "“cause”, row 1: inf is no cause"),
    (lambda: logrank([30, 60], [1, 0], ["a"]), "“group” has 1 rows"),
    (lambda: logrank([30, 60], [1, 0], ["a", "b"], strata=[1]), "“strata” has 1 rows"),
    (lambda: logrank([30, 60], [1, 0], ["a", "b"], entry=[31, 0]), "Row 0: under observation from day 31"),
    (lambda: bootstrap_survival([30, 60], [40, INF], [1], [30]), "“cluster” has 1 rows"),
    (lambda: bootstrap_survival([30, 60], [40, INF], [1, 2], [-1]), "“ages”, row 0: -1 lies before"),
    (lambda: bootstrap_survival([30, 60], [40, INF], [1, 2], [30], replicates=1), "With 1 replicates no spread"),
    (lambda: bootstrap_survival([30, 60], [40, INF], [1, 2], [30], seed=-1), "The seed -1 is below 0"),
    (lambda: bootstrap_difference([30], [40], [1], [30], ["a"], "a", "b"), "No row has the label b"),
    (lambda: difference(CURVE, CURVE, 30, level=0), "The level 0 is not between"),
    (lambda: CURVE.restricted_mean(0), "The mean cannot be taken up to 0"),
    (lambda: turnbull([30], [40]).restricted_mean(INF), "The mean cannot be taken up to inf"),
    (lambda: CURVE.quantile(1), "must lie between 0 and 1, not 1"),
    (lambda: turnbull([30], [40]).quantile(-0.5), "must lie between 0 and 1, not -0.5"),
    (lambda: wilson(3, 2), "3 of 2 is no share"),
    (lambda: wilson(0, 0), "0 of 0 is no share"),
    (lambda: wilson(1, 2, 1), "The level 1 is not between"),
]


@pytest.mark.parametrize(("call", "words"), FAULTY, ids=[words[:50] for _, words in FAULTY])
def test_bad_input_is_named(call: Callable[[], Any], words: str) -> None:
    with pytest.raises(SurvivalError) as refused:
        call()
    assert words in str(refused.value)


@pytest.mark.parametrize(("call", "words"), FAULTY, ids=[words[:50] for _, words in FAULTY])
def test_and_in_spanish(call: Callable[[], Any], words: str) -> None:
    with pytest.raises(SurvivalError) as refused:
        call()
    assert all(text and words not in text for text in refused.value.texts("es"))


def test_all_faults_of_a_call_are_told_at_once() -> None:
    with pytest.raises(SurvivalError) as refused:
        kaplan_meier([30, NAN, -1], [1, 3, 0], weight=[1, 1], level=2)
    assert [fault.key for fault in refused.value.faults] == [
        "survival.not_a_level",
        "survival.not_a_number",
        "survival.negative_time",
        "survival.not_an_event",
        "survival.length",
    ]


def test_faults_of_intervals_are_interval_errors_and_value_errors() -> None:
    with pytest.raises(IntervalError) as refused:
        turnbull([30], [20])
    assert isinstance(refused.value, ValueError)


def test_more_than_a_key_can_hold_is_refused_not_mixed_up() -> None:
    groups = np.arange(2_000_000)
    with pytest.raises(IntervalError, match="2000000 groups at 1000001 distinct ages are more than one call can take"):
        turnbull(np.full(groups.size, 1_000_000), np.full(groups.size, INF), group=groups)


def test_arguments_are_left_as_they_were() -> None:
    time, event, weight = np.array([3.0, 1.0, 2.0]), np.array([1, 0, 1]), np.array([2.0, 0.0, 1.0])
    kaplan_meier(time, event, weight=weight)
    assert (time.tolist(), event.tolist(), weight.tolist()) == ([3, 1, 2], [1, 0, 1], [2, 0, 1])
