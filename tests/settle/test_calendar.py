"""When and where each session was, and which sessions make one visit."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldkit.ledger import mint
from fieldkit.ledger.fold import Session
from fieldkit.settle.calendar import Visitor, day_of, is_set_aside, settled_day, settled_site, visits
from fieldkit.settle.matter import Rulings
from tests.support.programme import name

SESSION = Session(name("session"), name("device"), "crew", {"day": "2024-06-01", "site": "amo"})


def visiting(*days: int, same_visit_days: int = 1) -> dict[str, str]:
    """The visit of each session of June, a session a day, called by its day."""
    return visits(Visitor(str(day), date(2024, 6, day), same_visit_days) for day in days)


def ruled(kind: str, answer: str, **keys: Any) -> Rulings:
    values = {"matter": kind, "of": [SESSION.id], "answer": answer, **keys}
    return Rulings([mint("ruling", device=name("device"), session=name("lead"), seq=1, at=0, values=values)])


def test_sessions_within_the_window_of_the_first_are_one_visit() -> None:
    assert visiting(1, 2) == {"1": "2024-06-01", "2": "2024-06-01"}


def test_the_next_day_opens_the_next_visit() -> None:
    assert visiting(1, 2, 3) == {"1": "2024-06-01", "2": "2024-06-01", "3": "2024-06-03"}


def test_days_within_the_window_of_each_other_never_chain_into_one_visit() -> None:
    assert len(set(visiting(1, 3, 5, 7, same_visit_days=2).values())) == 2


def test_without_a_window_every_day_is_a_visit_of_its_own() -> None:
    assert len(set(visiting(1, 2, 3, same_visit_days=0).values())) == 3


def test_a_visit_that_a_person_named_wins_over_the_window() -> None:
    found = visits([Visitor("a", date(2024, 6, 1), 1, "after the storm"), Visitor("b", date(2024, 6, 9), 1, "after the storm")])
    assert found == dict.fromkeys("ab", "named after the storm")


def test_a_session_with_a_named_visit_opens_none_by_its_day() -> None:
    found = visits([Visitor("a", date(2024, 6, 1), 1, "after the storm"), Visitor("b", date(2024, 6, 2), 1)])
    assert found["b"] == "2024-06-02"


def test_of_two_protocols_that_open_a_visit_together_the_longer_window_holds() -> None:
    found = visits([Visitor("a", date(2024, 6, 1), 0), Visitor("b", date(2024, 6, 1), 3), Visitor("c", date(2024, 6, 4), 0)])
    assert set(found.values()) == {"2024-06-01"}


@given(st.lists(st.tuples(st.integers(1, 28), st.integers(0, 4)), min_size=1, max_size=8).flatmap(st.permutations))
def test_the_order_of_sessions_does_not_matter(said: list[tuple[int, int]]) -> None:
    sessions = [Visitor(f"{day}-{window}", date(2024, 6, day), window) for day, window in said]
    assert visits(sessions) == visits(sorted(sessions, key=lambda visitor: visitor.session))


@given(st.sets(st.integers(1, 28), min_size=1), st.integers(0, 4))
def test_no_visit_is_longer_than_its_window(days: set[int], window: int) -> None:
    for session, visit in visiting(*days, same_visit_days=window).items():
        assert 0 <= int(session) - date.fromisoformat(visit).day <= window


# The day and the site of a session.


@pytest.mark.parametrize("text", ["2024-6-1", "20240601", "2024-02-30", "yesterday", "", None, 20240601])
def test_what_names_no_day_is_none(text: Any) -> None:
    assert day_of(text) is None


def test_a_session_is_when_and_where_it_says() -> None:
    assert (settled_day(SESSION, Rulings(())), settled_site(SESSION, Rulings(()))) == (date(2024, 6, 1), "amo")


def test_a_ruling_moves_a_session_to_another_day() -> None:
    assert settled_day(SESSION, ruled("date", "day", day="2025-06-01")) == date(2025, 6, 1)


def test_a_ruling_moves_a_session_to_another_site() -> None:
    assert settled_site(SESSION, ruled("site", "site", site="ray")) == "ray"


@pytest.mark.parametrize(("kind", "answer", "keys"), [("date", "day", {"day": "soon"}), ("date", "stands", {})])
def test_a_ruling_that_names_no_day_leaves_the_session_where_it_was(kind: str, answer: str, keys: Any) -> None:
    assert settled_day(SESSION, ruled(kind, answer, **keys)) == date(2024, 6, 1)


@pytest.mark.parametrize("kind", ["date", "site"])
def test_a_session_may_be_set_aside_for_its_day_or_its_site(kind: str) -> None:
    assert is_set_aside(SESSION, ruled(kind, "set_aside"))
