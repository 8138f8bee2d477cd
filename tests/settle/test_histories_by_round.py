"""Sightings counted at the nominal age of their round."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from fieldkit.protocol import Round
from fieldkit.settle.histories import Interval, Sighting, by_round, history

PLANTED = date(2026, 3, 10)
ROUNDS = (Round("month 3", 90, 76, 118), Round("month 6", 180, 166, 208), Round("month 12", 365, 351, 393))
STATES = {"a": "alive", "d": "dead", "m": "missing"}


def seen(text: str) -> list[Sighting]:
    """ "a80 d95" -> alive at age 80, dead at age 95."""
    return [Sighting(PLANTED + timedelta(int(word[1:])), STATES[word[0]]) for word in text.split()]  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("what", "lost"),
    [
        ("a80", (90, None)),  # in the window, before its nominal age
        ("a118", (90, None)),  # the last day of the window
        ("a75", (75, None)),  # a day too early for it: the true age
        ("a119", (119, None)),
        ("a80 a95", (90, None)),
        ("a80 d170", (90, 180)),
        ("a120 d150", (120, 150)),  # both between windows
        ("a120 d170", (120, 180)),
        ("a80 d120", (90, 120)),
        ("d3", (0, 3)),
    ],
)
def test_a_sighting_counts_at_the_nominal_age_of_its_round_and_else_at_its_own(what: str, lost: tuple[int, int | None]) -> None:
    assert by_round(PLANTED, seen(what), ROUNDS).lost == Interval(*lost)


@pytest.mark.parametrize(
    ("what", "lost"),
    [
        ("a170 d200", (90, 180)),  # not seen in the round before, but it must have lived through it
        ("a80 a170 d200", (90, 180)),
        ("a80 d95", (0, 90)),  # no round before the first but the planting
        ("a60 a80 d95", (60, 90)),
        ("a150 a170 d200", (150, 180)),  # a sighting between the windows says more than the round before
        ("a80 a170 m175 d200", (90, 180)),
        ("a170 a170 d170", (90, 180)),
    ],
)
def test_alive_and_dead_in_one_window_is_alive_up_to_the_round_before(what: str, lost: tuple[int, int]) -> None:
    assert by_round(PLANTED, seen(what), ROUNDS).lost == Interval(*lost)


def test_alive_and_missing_in_one_window_is_missing_in_that_round() -> None:
    found = by_round(PLANTED, seen("a170 m200"), ROUNDS)
    assert (found.lost, found.open) == (Interval(90, 180), Interval(90, None))


def test_missing_and_alive_later_in_one_window_is_alive() -> None:
    assert by_round(PLANTED, seen("m80 a95"), ROUNDS).lost == Interval(90, None)


def test_dead_and_alive_later_in_one_window_is_alive_and_a_question() -> None:
    found = by_round(PLANTED, seen("d80 a95"), ROUNDS)
    assert found.lost == Interval(90, None)
    assert [finding.kind for finding in found.findings] == ["alive_after_dead"]


def test_dead_on_the_planting_day_stays_at_age_0_though_a_window_reaches_back_to_it() -> None:
    found = by_round(PLANTED, seen("a0 d0"), [Round("week 1", 7, 0, 14)])
    assert found.lost == Interval(0, 0)


def test_a_death_in_the_first_days_counts_at_the_round_whose_window_reaches_back_to_planting() -> None:
    assert by_round(PLANTED, seen("a0 d3"), [Round("week 1", 7, 0, 14)]).lost == Interval(0, 7)


def test_alive_and_dead_on_one_day_outside_all_windows_keeps_that_day() -> None:
    assert by_round(PLANTED, seen("a130 d130"), ROUNDS).lost == Interval(130, 130)


def test_a_coral_followed_from_within_a_window_enters_at_its_round() -> None:
    found = by_round(PLANTED, seen("d170"), ROUNDS, known_from=PLANTED + timedelta(80))
    assert (found.entry, found.lost) == (90, Interval(90, 180))


def test_a_coral_lost_in_the_round_of_its_entry_was_at_risk_for_no_round() -> None:
    found = by_round(PLANTED, seen("m95"), ROUNDS, known_from=PLANTED + timedelta(80))
    assert (found.entry, found.lost, found.open) == (90, Interval(90, 90), Interval(90, None))


def test_the_order_of_rounds_does_not_matter() -> None:
    assert by_round(PLANTED, seen("a170 d200"), ROUNDS[::-1]).lost == Interval(90, 180)


def test_withdrawal_and_as_of_day_go_by_true_days() -> None:
    said = {"withdrawn_on": PLANTED + timedelta(100), "as_of": PLANTED + timedelta(150)}
    one, other = by_round(PLANTED, seen("a80 d110 m170"), ROUNDS, **said), history(PLANTED, seen("a80 d110 m170"), **said)
    assert one.lost == Interval(90, None)
    assert (one.fate, one.findings) == (other.fate, other.findings)


def test_left_out_stays_left_out() -> None:
    assert by_round(None, seen("a80"), ROUNDS).left_out == "no_planting_day"
