"""Stacks and ratios are drawn where the figures say."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldkit.reports.causes import Lost, Share, Shares
from fieldkit.server import shapes

CAUSES = ("heat", "unknown", "missing")
HEIGHT = shapes.BOTTOM - shapes.TOP


def lost(*at: dict[str, float]) -> Lost:
    by_age = [
        Shares(365 * (i + 1), 10, 1 - sum(one.values()), {name: Share(share, None, None) for name, share in one.items()})
        for i, one in enumerate(at)
    ]
    return Lost(dict.fromkeys(CAUSES, 1), tuple(by_age))


def test_causes_stand_from_the_top_in_their_order_each_as_high_as_its_share() -> None:
    (stack,) = shapes.stacks(lost({"heat": 0.25, "unknown": 0.0, "missing": 0.5}), CAUSES)
    assert [(part.cause, part.y, part.height) for part in stack.parts] == [
        ("heat", shapes.TOP, HEIGHT / 4),
        ("missing", shapes.TOP + HEIGHT / 4, HEIGHT / 2),
    ]


@given(st.lists(st.floats(0, 1 / 3), min_size=3, max_size=3))
def test_what_lives_stands_below_all_causes(of_causes: list[float]) -> None:
    (stack,) = shapes.stacks(lost(dict(zip(CAUSES, of_causes, strict=True))), CAUSES)
    assert stack.survival_y == pytest.approx(shapes.TOP + sum(of_causes) * HEIGHT, abs=0.1)


def test_a_cause_has_one_letter_and_one_shade_at_every_age_and_in_both_treatments() -> None:
    stacks = shapes.stacks(lost({"heat": 0.1, "missing": 0.3}, {"missing": 0.4}), CAUSES)
    assert {(part.letter, part.shade) for stack in stacks for part in stack.parts if part.cause == "missing"} == {("C", 3)}


def test_a_part_too_low_for_a_line_of_type_gets_no_letter() -> None:
    (stack,) = shapes.stacks(lost({"heat": 0.01, "missing": 0.3}), CAUSES)
    assert [part.has_room for part in stack.parts] == [False, True]


def test_stacks_stand_side_by_side_within_the_frame() -> None:
    stacks = shapes.stacks(lost(*[{"heat": 0.1}] * 6), CAUSES)
    assert all(one.x + one.width < other.x for one, other in pairwise(stacks))
    assert stacks[0].x >= shapes.LEFT and stacks[-1].x + stacks[-1].width <= shapes.RIGHT


def test_a_ratio_of_one_stands_in_the_middle_and_doublings_are_alike() -> None:
    drawn = shapes.ratio(0.5, 1.0, 2.0)
    assert drawn and drawn.at == shapes.RATIO_WIDTH / 2
    assert drawn.at - drawn.low == pytest.approx(drawn.high - drawn.at)


@pytest.mark.parametrize(("lower", "upper"), [(None, None), (0.0, 100.0), (0.01, math.inf)])
def test_limits_beyond_the_scale_end_at_its_edge_with_an_arrow(lower: float | None, upper: float | None) -> None:
    drawn = shapes.ratio(lower, 1.0, upper)
    assert drawn == shapes.Ratio(0, shapes.RATIO_WIDTH / 2, shapes.RATIO_WIDTH, True, True)


def test_an_unknown_ratio_is_not_drawn() -> None:
    assert shapes.ratio(None, None, None) is None
