"""Curves are drawn where the figures say, and only there."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldkit.server import chart

# A group as `fieldkit survival --json` gives it (docs/commands.md), ten corals, two found dead, one missing.
LOST = {
    "curve": [[100, 0.9, 0.7, 1.0, 10], [365, 0.7, 0.4, 0.9, 9]],
    "at": [
        {"age": 30, "known_age": 30, "survival": 1.0, "lower": None, "upper": None, "at_risk": 10, "range": [1.0, 1.0]},
        {"age": 182, "known_age": 182, "survival": 0.9, "lower": 0.7, "upper": 1.0, "at_risk": 9, "range": [0.9, 0.9]},
        {"age": 365, "known_age": 365, "survival": 0.7, "lower": 0.4, "upper": 0.9, "at_risk": 7, "range": [0.6, 0.7]},
    ],
    "median": [None, None],
    "restricted_mean": {"until": 400, "value": 350.0, "std_error": None},
}
OPEN = {
    **LOST,
    "curve": [[365, 0.8, None, None, 9]],
    "at": [{**figure, "survival": survival} for figure, survival in zip(LOST["at"], (1.0, 1.0, 0.8), strict=True)],
}
GROUP: dict[str, Any] = {
    "group": {"site": "Amo"},
    "corals": 10,
    "plots": 2,
    "deaths": 2,
    "missing": 1,
    "missing_lost": LOST,
    "missing_open": OPEN,
}


def drawn(group: dict[str, Any] = GROUP, last: float = 400, marked: int = 365) -> chart.Panel:
    found = chart.panel(group, last, marked)
    assert found is not None
    return found


def corners(path: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in (pair.split() for pair in path.strip("MZ").split("L"))]


def x(age: float, last: float = 400) -> float:
    return round(chart.LEFT + age / last * (chart.RIGHT - chart.LEFT), 1)


def y(share: float) -> float:
    return round(chart.TOP + (1 - share) * (chart.BOTTOM - chart.TOP), 1)


def test_a_curve_falls_at_the_age_of_each_row_and_is_level_between() -> None:
    group = {**GROUP, "missing_lost": {**LOST, "curve": [[100, 0.9, None, None, 12], [365, 0.7, None, None, 11]]}}
    expected = [(x(0), y(1)), (x(100), y(1)), (x(100), y(0.9)), (x(365), y(0.9)), (x(365), y(0.7)), (x(400), y(0.7))]
    assert corners(drawn(group).lines[0].steps) == expected


def test_where_fewer_than_ten_are_at_risk_the_line_goes_on_thin() -> None:
    line = drawn().lines[0]
    thin = [(x(365), y(0.9)), (x(365), y(0.7)), (x(400), y(0.7))]
    assert (corners(line.steps)[-1], corners(line.few)) == (thin[0], thin)


def test_a_band_runs_along_the_upper_limit_and_back_along_the_lower() -> None:
    upper = [(x(100), y(1)), (x(365), y(1)), (x(365), y(0.9)), (x(400), y(0.9))]
    lower = [(x(100), y(0.7)), (x(365), y(0.7)), (x(365), y(0.4)), (x(400), y(0.4))]
    assert corners(drawn().lines[0].bands[0]) == upper + lower[::-1]


def test_no_band_is_drawn_where_limits_are_undefined() -> None:
    assert drawn().lines[1].bands == ()


def test_the_share_told_is_that_of_the_age_marked_on_the_curve() -> None:
    panel = drawn(marked=182)
    assert [(line.share, line.mark) for line in panel.lines] == [(0.9, (x(182), y(0.9))), (1.0, (x(182), y(1)))]


def test_a_share_known_only_later_is_marked_where_it_is_known() -> None:
    at = [*LOST["at"][:2], {**LOST["at"][2], "known_age": 380}]
    assert drawn({**GROUP, "missing_lost": {**LOST, "at": at}}).lines[0].mark == (x(380), y(0.7))


def test_an_age_without_room_beside_the_planting_is_not_on_the_axis() -> None:
    assert [age for age, _ in drawn().ages] == [0, 182, 365]


def test_numbers_at_risk_start_with_all_corals() -> None:
    assert drawn().lines[0].at_risk == (10, 9, 7)


def test_a_coral_group_that_nothing_is_known_of_has_no_panel() -> None:
    unknown = {"curve": [], "at": [], "median": [None, None], "restricted_mean": None}
    assert chart.panel({**GROUP, "missing_lost": unknown, "missing_open": unknown}, 400, 365) is None


def test_the_axis_ends_where_anything_is_known() -> None:
    assert (chart.last_age([GROUP]), chart.last_age([])) == (400, 0)


@given(st.floats(0, 1), st.floats(0, 1))
def test_names_of_curves_never_lie_over_each_other_and_stay_in_the_frame(lost: float, open_: float) -> None:
    ending = {
        f"missing_{name}": {**figures, "curve": [[100, share, None, None, 10]]}
        for name, figures, share in (("lost", LOST, lost), ("open", OPEN, open_))
    }
    one, other = (line.name_y for line in drawn({**GROUP, **ending}).lines)
    assert abs(one - other) >= 34 - 0.01 and all(chart.TOP + 12 - 0.01 <= at <= chart.BOTTOM for at in (one, other))


@given(st.lists(st.integers(1, 4000), unique=True), st.integers(1, 4000))
def test_ages_on_the_axis_have_room_for_their_figures(asked: list[int], last: int) -> None:
    at = [{**LOST["at"][0], "age": age, "known_age": age} for age in sorted(asked)]
    group = {**GROUP, "missing_lost": {**LOST, "at": at}, "missing_open": {**OPEN, "at": at}}
    places = [place for _, place in drawn(group, last).ages]
    assert all(after - before >= 30 - 0.1 for before, after in pairwise(places))


@pytest.mark.parametrize("treatment", [0, 1])
def test_both_treatments_are_always_drawn(treatment: int) -> None:
    assert drawn().lines[treatment].treatment == ("lost", "open")[treatment]
