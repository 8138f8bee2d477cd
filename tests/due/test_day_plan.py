"""The work of a day: what presses most comes in first, a dive stays at one site, healthy plots come before diseased ones."""

from __future__ import annotations

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as st

from fieldkit.due.day_plan import Job, day_plan
from fieldkit.due.schedule import Visit, Window

DAY = date(2026, 11, 10)


def job(plot: str, site: str = "R", *, days: int | None = 5, hands: int = 0, ill: bool = False, minutes: int = 10) -> Job:
    """A plot whose window closes in so many days (below 0: has closed); None: it needs hands alone."""
    visit = None
    if days is not None:
        window = Window({"": "month 3"}, DAY, DAY - timedelta(60), DAY + timedelta(days))
        visit = Visit(window, "due" if days >= 0 else "overdue", days)
    return Job(plot, plot, site, visit, hands, ill, minutes)


def order(*jobs: Job, dives: int = 9, minutes: int = 30) -> list[str]:
    return [one.plot for one in day_plan(jobs, dives=dives, minutes=minutes).jobs]


def test_windows_that_close_come_first_then_what_is_overdue_then_hands() -> None:
    jobs = [job("hand", days=None, hands=3), job("late", days=-40), job("tomorrow", days=1), job("later", days=9)]
    assert order(*jobs, minutes=60) == ["tomorrow", "later", "late", "hand"]


def test_what_presses_less_stays_ashore_when_the_day_is_full() -> None:
    made = day_plan([job("a", days=9), job("b", days=1), job("c", days=3)], dives=1, minutes=20)
    assert [one.plot for one in made.jobs] == ["b", "c"] and [(one.plot, why) for one, why in made.left] == [("a", "no_room")]


def test_a_plot_that_takes_longer_than_a_dive_is_told_apart() -> None:
    made = day_plan([job("long", minutes=31), job("short", days=9)], dives=1, minutes=30)
    assert [(one.plot, why) for one, why in made.left] == [("long", "too_long")] and [one.plot for one in made.jobs] == [
        "short"
    ]


def test_healthy_plots_come_before_diseased_ones_and_sites_without_any_come_first() -> None:
    jobs = [job("ill", "A", days=1, ill=True), job("well", "A", days=2), job("other", "B", days=3)]
    assert order(*jobs) == ["other", "well", "ill"]


def test_where_a_healthy_plot_has_to_come_after_a_diseased_one_the_plan_says_so() -> None:
    jobs = [job(f"{site}{kind}", site, ill=kind == "ill") for site in "AB" for kind in ("well", "ill")]
    made = day_plan(jobs, dives=2, minutes=20)
    assert [one.plot for one in made.jobs] == ["Awell", "Aill", "Bwell", "Bill"] and made.clean_before == {"Bwell"}


JOBS = st.lists(
    st.builds(
        job,
        st.integers(0, 10**6).map(str),
        st.sampled_from("ABC"),
        days=st.none() | st.integers(-100, 100),
        hands=st.integers(0, 5),
        ill=st.booleans(),
        minutes=st.integers(1, 50),
    ),
    max_size=25,
    unique_by=lambda one: one.plot,
)


@given(JOBS, st.integers(1, 6), st.integers(1, 60))
def test_every_plot_is_planned_once_or_left_with_a_reason_and_no_dive_is_too_full(
    jobs: list[Job], dives: int, minutes: int
) -> None:
    made = day_plan(jobs, dives=dives, minutes=minutes)
    assert sorted(one.plot for one in [*made.jobs, *(one for one, _ in made.left)]) == sorted(one.plot for one in jobs)
    assert len(made.dives) <= dives and all(dive.jobs and dive.minutes <= minutes for dive in made.dives)
    assert all(one.site == dive.site for dive in made.dives for one in dive.jobs)


@given(JOBS, st.integers(1, 6), st.integers(1, 60))
def test_within_a_site_no_healthy_plot_comes_after_a_diseased_one(jobs: list[Job], dives: int, minutes: int) -> None:
    made = day_plan(jobs, dives=dives, minutes=minutes)
    for site in "ABC":
        ill = [one.is_diseased for one in made.jobs if one.site == site]
        assert ill == sorted(ill)


@given(JOBS, st.integers(1, 6), st.integers(1, 60))
def test_the_order_in_which_plots_are_given_plays_no_part(jobs: list[Job], dives: int, minutes: int) -> None:
    assert day_plan(jobs, dives=dives, minutes=minutes) == day_plan(reversed(jobs), dives=dives, minutes=minutes)
