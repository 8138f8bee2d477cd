"""What holds for every history, whatever was seen: Hypothesis looks for one that breaks it."""

from __future__ import annotations

from datetime import date, timedelta
from math import inf
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fieldkit.protocol import Round
from fieldkit.settle.histories import History, Interval, Sighting, by_round, history

PLANTED = date(2026, 3, 10)
ROUNDS = (Round("week 1", 7, 0, 10), Round("month 1", 30, 20, 40), Round("month 3", 90, 70, 110))
LIFE = 130  # long enough for several sightings in each window, between windows and after the last

days = st.integers(-10, LIFE).map(lambda age: PLANTED + timedelta(age))
states = st.sampled_from(["alive", "dead", "missing"])
sightings = st.lists(st.builds(Sighting, days, states), max_size=8)
dates_said = st.fixed_dictionaries({}, optional={"withdrawn_on": days, "known_from": days, "as_of": days})


def in_days(planted_on: date | None, seen: list[Sighting], **said: Any) -> History:
    return history(planted_on, seen, **said)


def in_rounds(planted_on: date | None, seen: list[Sighting], **said: Any) -> History:
    return by_round(planted_on, seen, ROUNDS, **said)


either_clock = pytest.mark.parametrize("tell", [in_days, in_rounds])


def right(interval: Interval) -> float:
    return inf if interval.right is None else interval.right


@either_clock
@given(sightings.flatmap(lambda seen: st.tuples(st.just(seen), st.permutations(seen))), st.none() | days, dates_said)
def test_the_order_of_sightings_does_not_matter(tell: Any, orders: Any, planted_on: date | None, said: Any) -> None:
    assert tell(planted_on, orders[0], **said) == tell(planted_on, orders[1], **said)


@either_clock
@given(sightings, dates_said)
def test_an_interval_never_ends_before_it_begins(tell: Any, seen: list[Sighting], said: Any) -> None:
    found = tell(PLANTED, seen, **said)
    assume(found.lost)
    assert 0 <= found.entry <= found.lost.left <= right(found.lost)


@either_clock
@given(sightings, dates_said)
def test_leaving_missing_open_never_makes_a_coral_die_earlier(tell: Any, seen: list[Sighting], said: Any) -> None:
    found = tell(PLANTED, seen, **said)
    assume(found.lost)
    assert found.lost.left == found.open.left
    assert right(found.lost) <= right(found.open)


@either_clock
@given(sightings, dates_said, days)
def test_one_more_sighting_alive_never_makes_a_coral_die_earlier(tell: Any, seen: list[Sighting], said: Any, day: date) -> None:
    before, after = tell(PLANTED, seen, **said), tell(PLANTED, [*seen, Sighting(day, "alive")], **said)
    assume(before.lost)
    assert all(
        one.left <= other.left and right(one) <= right(other)
        for one, other in ((before.lost, after.lost), (before.open, after.open))
    )


@given(sightings, st.none() | days, dates_said)
def test_an_as_of_day_after_everything_changes_nothing(seen: list[Sighting], planted_on: date | None, said: Any) -> None:
    said.pop("as_of", None)
    last = max([PLANTED, *(sighting.day for sighting in seen), *said.values(), *([planted_on] if planted_on else [])])
    assert in_days(planted_on, seen, **said, as_of=last) == in_days(planted_on, seen, **said)


@given(sightings, days.filter(lambda day: day >= PLANTED), st.none() | days)
def test_as_of_a_day_means_that_nothing_later_was_ever_said(seen: list[Sighting], as_of: date, withdrawn: date | None) -> None:
    by_then = [sighting for sighting in seen if sighting.day <= as_of]
    withdrawn_by_then = withdrawn if withdrawn and withdrawn <= as_of else None
    then = in_days(PLANTED, seen, withdrawn_on=withdrawn, as_of=as_of)
    assert then == in_days(PLANTED, by_then, withdrawn_on=withdrawn_by_then)


@given(sightings, dates_said, st.integers(-3000, 3000))
def test_the_calendar_does_not_matter_only_ages_do(seen: list[Sighting], said: Any, shift: int) -> None:
    later = timedelta(shift)
    moved = in_days(
        PLANTED + later,
        [Sighting(sighting.day + later, sighting.state) for sighting in seen],
        **{name: day + later for name, day in said.items()},
    )
    found = in_days(PLANTED, seen, **said)
    assert (moved.lost, moved.open, moved.entry, moved.fate) == (found.lost, found.open, found.entry, found.fate)


@either_clock
@given(sightings, dates_said)
def test_the_fate_goes_with_the_intervals(tell: Any, seen: list[Sighting], said: Any) -> None:
    found = tell(PLANTED, seen, **said)
    assume(found.lost)
    ends = (found.lost.right is not None, found.open.right is not None)
    assert ends == {"dead": (True, True), "missing": (True, False)}.get(found.fate, (False, False))


@given(sightings)
def test_without_rounds_by_round_is_by_day(seen: list[Sighting]) -> None:
    assert by_round(PLANTED, seen, ()) == history(PLANTED, seen)


# A second witness: lives with a known end, and the plainest reading of what sightings can tell about it.


@st.composite
def lives(draw: st.DrawFn) -> tuple[int, list[Sighting]]:
    """A day of death, and visits that saw the truth: alive before it; from it on the skeleton, or nothing at all."""
    death = draw(st.integers(1, LIFE))
    ages = draw(st.lists(st.integers(0, LIFE), max_size=8, unique=True))
    seen = [(age, "alive" if age < death else draw(st.sampled_from(["dead", "missing"]))) for age in ages]
    return death, [Sighting(PLANTED + timedelta(age), state) for age, state in seen]  # type: ignore[arg-type]


def fits(death: int, seen: list[Sighting], gone: set[str]) -> bool:
    ages = [((sighting.day - PLANTED).days, sighting.state) for sighting in seen]
    return all(age < death if state == "alive" else age >= death for age, state in ages if state == "alive" or state in gone)


@given(lives())
def test_left_open_the_interval_is_all_the_days_of_death_that_fit_what_was_seen(life: tuple[int, list[Sighting]]) -> None:
    _, seen = life
    interval = history(PLANTED, seen).open
    possible = [death for death in range(1, LIFE + 2) if fits(death, seen, {"dead"})]
    assert interval is not None
    assert (interval.left + 1, min(right(interval), LIFE + 1)) == (possible[0], possible[-1])


@given(lives())
def test_counted_as_lost_the_interval_fits_each_missing_unless_the_skeleton_was_found(life: tuple[int, list[Sighting]]) -> None:
    _, seen = life
    interval = history(PLANTED, seen).lost
    gone = {"dead"} if any(sighting.state == "dead" for sighting in seen) else {"missing"}
    possible = [death for death in range(1, LIFE + 2) if fits(death, seen, gone)]
    assert interval is not None
    assert (interval.left + 1, min(right(interval), LIFE + 1)) == (possible[0], possible[-1])


@given(lives())
def test_a_true_record_raises_no_question(life: tuple[int, list[Sighting]]) -> None:
    _, seen = life
    assert history(PLANTED, seen).findings == ()
