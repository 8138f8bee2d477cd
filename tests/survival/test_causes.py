"""Laws of cumulative incidence: nothing is lost twice, and one cause alone is one minus survival."""

from __future__ import annotations

from typing import Any

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldkit.survival import cumulative_incidence, kaplan_meier

LAW = settings(max_examples=40)
corals = st.lists(
    st.tuples(st.integers(0, 20), st.integers(0, 3), st.integers(1, 4), st.sampled_from("ab")), min_size=1, max_size=60
)


def columns(rows: list[Any]) -> dict[str, Any]:
    return dict(zip(("time", "cause", "weight", "group"), map(list, zip(*rows, strict=True)), strict=True))


@LAW
@given(corals)
def test_all_causes_together_are_what_did_not_survive(rows: list[Any]) -> None:
    for one in cumulative_incidence(**columns(rows)).values():
        lost = sum(one.incidence.values(), np.zeros(one.time.size))
        np.testing.assert_allclose(lost, 1 - one.survival, rtol=0, atol=1e-12)


@LAW
@given(corals)
def test_a_single_cause_is_one_minus_kaplan_meier_with_greenwoods_variance(rows: list[Any]) -> None:
    data = columns(rows) | {"group": None}
    cause = np.minimum(data.pop("cause"), 1)
    one = cumulative_incidence(data["time"], cause, weight=data["weight"])
    curve = kaplan_meier(data["time"], cause, weight=data["weight"])
    left = curve.survival > 0
    for share, variance in zip(one.incidence.values(), one.variance.values(), strict=True):
        np.testing.assert_allclose(share, 1 - curve.survival, rtol=0, atol=1e-12)
        np.testing.assert_allclose(variance[left], curve.std_error[left] ** 2, rtol=1e-9, atol=1e-12)


@LAW
@given(corals)
def test_a_group_among_others_has_the_incidence_it_has_alone(rows: list[Any]) -> None:
    for label, one in cumulative_incidence(**columns(rows)).items():
        alone = cumulative_incidence(**columns([row for row in rows if row[3] == label]) | {"group": None})
        for cause, share in alone.incidence.items():
            np.testing.assert_allclose(one.incidence[cause], share, rtol=0, atol=1e-12)


@LAW
@given(corals)
def test_a_weight_is_as_many_rows(rows: list[Any]) -> None:
    repeated = columns([(*row[:2], 1, row[3]) for row in rows for _ in range(row[2])])
    weighted, single = cumulative_incidence(**columns(rows)), cumulative_incidence(**repeated | {"weight": None})
    for label, one in single.items():
        for cause in one.variance:
            np.testing.assert_allclose(weighted[label].variance[cause], one.variance[cause], rtol=0, atol=1e-12)


def test_a_cause_that_took_none_of_a_group_is_nought_in_it() -> None:
    both = cumulative_incidence([10, 10, 20], [1, 2, 0], group=["a", "b", "b"])
    assert both["a"].incidence[2].tolist() == [0]


def test_incidence_at_stated_ages_is_flat_between_and_after() -> None:
    at = cumulative_incidence([10, 20, 30, 40], [1, 2, 0, 0]).at([9, 10, 25, 90])
    assert at[1].tolist() == [0, 0.25, 0.25, 0.25]
    assert at[2].tolist() == [0, 0, 0.25, 0.25]


def test_no_corals_at_all_give_no_causes() -> None:
    nothing = cumulative_incidence([], [])
    assert (nothing.time.size, dict(nothing.incidence)) == (0, {})


def test_all_lost_at_once_is_shared_out_with_the_error_of_a_share() -> None:
    both = cumulative_incidence([30, 30, 30, 30], [1, 1, 1, 2])
    assert [both.incidence[cause].tolist() for cause in (1, 2)] == [[0.75], [0.25]]
    assert [both.variance[cause].tolist() for cause in (1, 2)] == [[0.75 * 0.25 / 4]] * 2


def test_one_coral_is_lost_to_its_one_cause() -> None:
    one = cumulative_incidence([30], [2])
    assert (dict(one.at([29, 30]))[2].tolist(), one.survival.tolist(), one.variance[2].tolist()) == ([0, 1], [0], [0])


def test_a_group_of_weight_nought_is_listed_and_empty() -> None:
    gone = cumulative_incidence([10, 20], [1, 1], weight=[0, 1], group=["gone", "there"])["gone"]
    assert gone.time.size == 0
    assert np.isnan(gone.at([30])[1]).all()
