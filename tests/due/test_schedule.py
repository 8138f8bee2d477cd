"""Which visit is due when. The windows are those of the shipped protocol: common practice, no source, but for the heat's."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from fieldkit.due.schedule import Event, Visit, Window, after, by_age, waited_for
from fieldkit.protocol import Protocol, Round
from tests.support.programme import monitoring

PLANTED = date(2025, 3, 10)


@pytest.fixture(scope="module")
def protocol() -> Protocol:
    return monitoring()


def on(age_days: int) -> date:
    return PLANTED + timedelta(age_days)


def asked(protocol: Protocol, age_days: int, *visited: int) -> list[tuple[str, str, int]]:
    found = waited_for(by_age(PLANTED, protocol.rounds), [on(age) for age in visited], on(age_days))
    return [(visit.state, visit.window.label[""], visit.days) for visit in found]


@pytest.mark.parametrize(
    ("age", "told"),
    [
        (20, [("coming", "month 1", 1)]),
        (21, [("due", "month 1", 24), ("coming", "month 3", 54)]),
        (45, [("due", "month 1", 0), ("coming", "month 3", 30)]),
        (46, [("overdue", "month 1", -1), ("coming", "month 3", 29)]),
        (74, [("overdue", "month 1", -29), ("coming", "month 3", 1)]),
        (75, [("due", "month 3", 45), ("coming", "month 6", 75)]),
    ],
)
def test_a_visit_is_due_from_the_first_to_the_last_day_of_its_window_and_then_overdue_until_the_next(
    protocol: Protocol, age: int, told: list[tuple[str, str, int]]
) -> None:
    """21 to 45 days, 75 to 120, 150 to 215: common practice, no source."""
    assert asked(protocol, age) == told


@pytest.mark.parametrize("visited", [21, 30, 45])
def test_a_visit_within_the_window_is_done(protocol: Protocol, visited: int) -> None:
    assert asked(protocol, 50, visited) == [("coming", "month 3", 25)]


def test_a_late_visit_ends_the_waiting_and_takes_no_other_rounds_place(protocol: Protocol) -> None:
    assert asked(protocol, 74, 60) == [("coming", "month 3", 1)]
    assert asked(protocol, 75, 60)[0] == ("due", "month 3", 45)


def test_an_early_visit_is_not_the_rounds(protocol: Protocol) -> None:
    assert asked(protocol, 30, 20)[0] == ("due", "month 1", 15)


def test_what_happened_after_the_day_asked_about_is_not_looked_at(protocol: Protocol) -> None:
    assert asked(protocol, 25, 30) == asked(protocol, 25)


def test_after_the_last_round_nothing_comes(protocol: Protocol) -> None:
    assert asked(protocol, 2000, 1095) == []


def test_heat_opens_a_visit_one_to_three_months_after_its_onset_and_one_half_a_year_after_its_end(protocol: Protocol) -> None:
    """At alert, at the height one to three months after the onset, about six months after: Reef Resilience Network,
    bleaching monitoring. The days around "about six months" are ours."""
    heat = Event("h", "heat", date(2026, 2, 1), date(2026, 4, 1))
    alert, height, half_a_year = after(heat, protocol.event_visits)
    assert (alert.opens, height.opens, height.closes) == (date(2026, 2, 1), date(2026, 3, 3), date(2026, 5, 3))
    assert half_a_year.opens < date(2026, 10, 1) < half_a_year.closes


def test_a_storm_opens_a_visit_within_four_weeks_and_not_while_it_lasts(protocol: Protocol) -> None:
    """As soon as safe, within 2-4 weeks: common practice, no source."""
    storm = Event("s", "storm", date(2026, 2, 1), date(2026, 2, 3))
    (window,) = after(storm, protocol.event_visits)
    assert (window.opens, window.closes, window.event) == (date(2026, 2, 3), date(2026, 3, 3), "s")
    assert after(Event("s", "storm", date(2026, 2, 1), None), protocol.event_visits) == []


def test_one_visit_serves_an_event_and_the_age_whose_windows_share_its_day() -> None:
    age, storm = [Window({"": "month 3"}, PLANTED, on(75), on(120))], [Window({"": "storm"}, on(80), on(80), on(108), "s")]
    assert [waited_for(series, [on(90)], on(121)) for series in (age, storm)] == [[], []]


def test_windows_come_in_order_whatever_the_order_of_the_file() -> None:
    rounds = [Round("later", 91, 75, 120), Round("first", 30, 21, 45)]
    assert [window.label[""] for window in by_age(PLANTED, rounds)] == ["first", "later"]
    assert isinstance(waited_for(by_age(PLANTED, rounds), [], on(30))[0], Visit)
