"""Places told by positions, and the chart made of them."""

from __future__ import annotations

import pytest

from fieldkit.slates.places import charted


def places(*noted: str) -> list[tuple[float, float]] | None:
    chart = charted((str(n), one) for n, one in enumerate(noted, 1))
    return [(round(place.across, 3), round(place.up, 3)) for place in chart.places] if chart else None


@pytest.mark.parametrize(
    ("noted", "place"),
    [
        ("1.2/0.8", (1.2, 0.8)),
        ("1,2/0,8", (1.2, 0.8)),
        ("1.2 m / -0.8 m", (1.2, -0.8)),
        ("12;3", (12.0, 3.0)),
        (" 0/0 ", (0.0, 0.0)),
    ],
)
def test_so_far_right_and_so_far_up(noted: str, place: tuple[float, float]) -> None:
    assert places(noted, "5/5") == [place, (5.0, 5.0)]


@pytest.mark.parametrize(
    ("noted", "place"),
    [
        ("0° 2 m", (0.0, 2.0)),  # north is up
        ("90° 2", (2.0, 0.0)),  # east is right: compass bearings run clockwise
        ("180°, 2 m", (0.0, -2.0)),
        ("30°/2,0 m", (1.0, 1.732)),  # sin 30° = 1/2, cos 30° = 0.866
    ],
)
def test_a_bearing_and_a_distance(noted: str, place: tuple[float, float]) -> None:
    assert places(noted, "270° 1 m") == [place, (-1.0, 0.0)]


@pytest.mark.parametrize("noted", ["7", "B12", "3rd from left", "1/2/3", "120", "12.5 m", ""])
def test_any_other_position_is_a_name_and_tells_no_place(noted: str) -> None:
    assert places(noted, noted) is None


def test_one_place_makes_no_chart() -> None:
    assert places("1/2", "7") is None


def test_places_told_in_two_ways_make_no_chart_since_one_knows_north_and_the_other_does_not() -> None:
    assert places("1/2", "90° 2 m", "3/4") is None


def test_only_bearings_know_north() -> None:
    by_metres, by_bearing = (charted([("1", one), ("2", one)]) for one in ("1/2", "90° 2 m"))
    assert by_metres and not by_metres.north_is_up and by_bearing and by_bearing.north_is_up
