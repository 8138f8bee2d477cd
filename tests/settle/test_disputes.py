"""How far settling could move what is known of a coral: every open dispute answered the worst and the best way."""

from __future__ import annotations

import pytest

from fieldkit.settle.histories import Interval
from fieldkit.settle.life import Life
from tests.support.plot import Plot, life

JUNE, DECEMBER = "2024-06-01", "2024-12-01"  # ages 92 and 275


def disputed(*states: str, later: str | None = None) -> Plot:
    """Coral 101 in several states on one visit in June, and in December in one."""
    plot = Plot()
    for i, state in enumerate(states):
        plot.see(plot.dive(f"diver {i}", JUNE), "101", state)
    if later:
        plot.see(plot.dive("kai", DECEMBER), "101", later)
    return plot


def intervals(found: Life) -> tuple[Interval | None, ...]:
    return found.worst.lost, found.settled.lost, found.best.lost


@pytest.mark.parametrize(
    ("states", "worst", "best"),
    [
        (("alive", "dead"), Interval(0, 92), Interval(92, None)),
        (("alive", "missing"), Interval(0, 92), Interval(92, None)),
        (("dead", "missing"), Interval(0, 92), Interval(0, 92)),
        (("alive", "dead", "missing"), Interval(0, 92), Interval(92, None)),
    ],
)
def test_a_disputed_state_ranges_from_the_worst_that_was_seen_to_the_best(
    states: tuple[str, ...], worst: Interval, best: Interval
) -> None:
    assert intervals(life(disputed(*states).settle())) == (worst, Interval(0, None), best)


def test_dead_or_missing_ranges_where_missing_is_left_open() -> None:
    found = life(disputed("dead", "missing").settle())
    assert (found.worst.open, found.best.open) == (Interval(0, 92), Interval(0, None))


def test_alive_later_leaves_a_dispute_nothing_to_move() -> None:
    found = life(disputed("alive", "missing", later="alive").settle())
    assert intervals(found) == (Interval(275, None),) * 3


def test_dead_later_leaves_open_when_it_died() -> None:
    found = life(disputed("alive", "dead", later="dead").settle())
    assert intervals(found) == (Interval(0, 92), Interval(0, 275), Interval(92, 275))


def test_without_a_dispute_nothing_ranges() -> None:
    found = life(disputed("alive", later="dead").settle())
    assert (found.worst, found.best, found.is_disputed) == (found.settled, found.settled, False)


def test_a_coral_alive_again_ranges_down_to_the_day_it_was_found_dead() -> None:
    assert intervals(life(disputed("dead", later="alive").settle())) == (
        Interval(0, 92),
        Interval(275, None),
        Interval(275, None),
    )


def test_a_return_that_stands_ranges_over_nothing() -> None:
    plot = disputed("dead", later="alive")
    plot.rule("history", [entry.digest for entry in plot.said], "stands")
    found = life(plot.settle())
    assert (intervals(found), found.is_disputed) == ((Interval(275, None),) * 3, False)


def test_a_measure_in_dispute_ranges_over_nothing() -> None:
    plot = Plot()
    for called, size in (("kai", "12"), ("noa", "19")):
        plot.see(plot.dive(called), "101", size_cm=size)
    assert not life(plot.settle()).is_disputed
