"""How long a plot takes, as its sessions tell, or the protocol."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal

import pytest

from fieldkit.due.minutes import minutes_for, pace_by_minutes, pace_by_photos
from fieldkit.protocol import Effort

EFFORT = Effort(Decimal(5), Decimal("1.5"), Decimal(3))
BEGAN = datetime(2026, 11, 10, 8, 30)


def photos(*minutes: int) -> list[datetime]:
    return [BEGAN + timedelta(minutes=minute) for minute in minutes]


@pytest.mark.parametrize(("times", "rows"), [(photos(0, 2, 4, 6, 8), 5), (photos(0, 4, 8), 6), (photos(8, 0, 4), 6)])
def test_photos_spread_evenly_tell_the_pace_whether_all_rows_have_one_or_every_other(times: list[datetime], rows: int) -> None:
    """By arithmetic: 2 minutes a row in each."""
    assert pace_by_photos(times, rows) == pytest.approx(2)


def test_too_few_photos_and_times_that_cannot_be_tell_nothing() -> None:
    assert [pace_by_photos(photos(0, 3), 10), pace_by_photos(photos(0, 60, 600), 3), pace_by_photos(photos(0, 0, 0), 3)] == [
        None,
        None,
        None,
    ]


def test_minutes_that_were_noted_are_shared_among_the_rows() -> None:
    assert [pace_by_minutes(Decimal(45), 30), pace_by_minutes(Decimal(0), 30)] == [1.5, None]


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"is_visited": True, "paces": []}, (20, "protocol")),  # 5 + 10 x 1.5
        ({"is_visited": True, "paces": [], "hands": 2}, (26, "protocol")),
        ({"is_visited": True, "paces": [1.0, 9.0, 2.0]}, (20, "sessions")),  # the median, so that one odd day counts for little
        ({"is_visited": False, "paces": [1.0], "hands": 2}, (11, "protocol")),  # 5 + 2 x 3
    ],
)
def test_a_plot_takes_what_its_sessions_took_or_the_protocols_figure(given: dict[str, object], told: tuple[int, str]) -> None:
    found = minutes_for(**{"corals": 10, "hands": 0, "effort": EFFORT, **given})  # type: ignore[arg-type]
    assert (found.minutes, found.known_by) == told
