"""A size curve's shapes: growth and shrinking are told apart, breakage is seen, axes hold everything."""

from __future__ import annotations

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from fieldkit.reports.corals import Measured
from fieldkit.server import size_chart
from fieldkit.server.size_chart import curve


def measured(*sizes: float, broken: int | None = None) -> list[Measured]:
    first = date(2024, 3, 1)
    return [
        Measured(
            first + timedelta(days=100 * i),
            100 * i,
            size,
            size - sizes[i - 1] if i else None,
            "branch" if i == broken else None,
        )
        for i, size in enumerate(sizes)
    ]


def test_one_size_is_no_curve() -> None:
    assert curve(measured(12)) is None and curve([]) is None


def test_shrinking_falls_and_is_told_apart_from_growth() -> None:
    made = curve(measured(10, 14, 9))
    assert made and [stretch.shrinks for stretch in made.stretches] == [False, True]
    assert made.marks[2].y > made.marks[1].y and made.marks[2].change == -5


def test_a_visit_on_which_something_had_broken_off_is_marked() -> None:
    made = curve(measured(10, 8, 9, broken=1))
    assert made and [mark.broken for mark in made.marks] == [False, True, False]


def test_what_needs_no_word_gets_none() -> None:
    plain, shrunk = curve(measured(10, 11)), curve(measured(11, 10))
    assert plain and shrunk and (plain.explains, shrunk.explains) == (False, True)


@given(sizes=st.lists(st.floats(0.1, 900), min_size=2, max_size=30))
def test_every_size_lies_within_the_frame_and_axes_are_never_crowded(sizes: list[float]) -> None:
    made = curve(measured(*sizes))
    assert made
    assert all(size_chart.LEFT <= mark.x <= size_chart.RIGHT for mark in made.marks)
    assert all(size_chart.TOP <= mark.y <= size_chart.BOTTOM for mark in made.marks)
    assert 2 <= len(made.heights) <= 8 and 1 <= len(made.months) <= 8
