"""Which corals need a hand: from what was noted last of each field, until it is done, and again when it is found again."""

from __future__ import annotations

from typing import Any

import pytest

from fieldkit.due.hands import DONE, Seen, Tended, asks_of, needs
from fieldkit.protocol.protocol import HANDS
from tests.support.programme import monitoring

ASKS = asks_of(monitoring())


def seen(day: str, status: str = "alive", **values: Any) -> Seen:
    return Seen(day, status, values)


def hands(*visits: Seen, tended: tuple[Tended, ...] = ()) -> list[str]:
    return sorted(need.hand for need in needs(visits, ASKS, tended))


@pytest.mark.parametrize(
    ("values", "hand"),
    [
        ({"attachment": "loose"}, "reattach"),
        ({"predation": ["snails", "fish_bites"]}, "remove_predators"),
        ({"disease": ["tissue_loss"]}, "work_last"),
        ({"competition": ["macroalgae"]}, "clean"),
        ({"tag_state": "absent"}, "new_tag"),
    ],
)
def test_what_was_noted_asks_for_its_hand(values: dict[str, Any], hand: str) -> None:
    """Which hand follows from what: common practice, no source."""
    (need,) = needs([seen("2026-01-01", **values)], ASKS)
    assert (need.hand, need.day, need.noted[0][0]) == (hand, "2026-01-01", next(iter(values)))


def test_what_is_sound_asks_for_nothing() -> None:
    assert hands(seen("2026-01-01", **{name: value for name, value in monitoring().all_well.items() if name != "status"})) == []


def test_fish_that_bite_cannot_be_taken_off() -> None:
    assert hands(seen("2026-01-01", predation=["fish_bites"])) == []


@pytest.mark.parametrize("state", ["dead", "missing"])
def test_a_coral_that_was_not_alive_last_needs_no_hand(state: str) -> None:
    assert hands(seen("2026-01-01", attachment="loose"), seen("2026-02-01", state)) == []


def test_a_visit_that_did_not_look_at_it_closes_nothing() -> None:
    assert hands(seen("2026-01-01", attachment="loose"), seen("2026-02-01", size_cm="12")) == ["reattach"]


def test_a_later_visit_that_finds_it_sound_closes_it() -> None:
    assert hands(seen("2026-01-01", attachment="loose"), seen("2026-02-01", attachment="solid")) == []


@pytest.mark.parametrize("day", ["2026-01-01", "2026-01-20"])
def test_what_was_done_on_that_day_or_later_closes_it(day: str) -> None:
    assert hands(seen("2026-01-01", attachment="loose"), tended=(Tended("reattached", day),)) == []


def test_what_was_done_before_or_was_something_else_does_not() -> None:
    both = (Tended("reattached", "2025-12-31"), Tended("cleaned", "2026-01-02"))
    assert hands(seen("2026-01-01", attachment="loose"), tended=both) == ["reattach"]


def test_a_later_visit_that_finds_the_same_opens_it_again() -> None:
    found = (seen("2026-01-01", attachment="loose"), seen("2026-03-01", attachment="loose"))
    assert hands(*found, tended=(Tended("reattached", "2026-01-05"),)) == ["reattach"]


def test_a_tally_asks_by_what_it_counts_at_least_once() -> None:
    asks = {"animals": {"snails": ("remove_predators",)}}
    assert needs([Seen("2026-01-01", "alive", {"animals": {"snails": "0", "other": "3"}})], asks) == []
    assert [need.noted for need in needs([Seen("2026-01-01", "alive", {"animals": {"snails": "2"}})], asks)] == [
        (("animals", "snails"),)
    ]


def test_every_hand_but_going_last_has_a_name_for_when_it_is_given() -> None:
    assert set(HANDS) - DONE.keys() == {"work_last"}
