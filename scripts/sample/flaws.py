"""What goes wrong between the reef and the base: every slip that crews know, planted one by one, each with its true answer."""

from __future__ import annotations

from sample.boat_day import BoatDay
from sample.coral_flaws import (
    by_position,
    found_again,
    implausible_sizes,
    misread_tags,
    mistaken_for_dead,
    not_searched,
    notes,
    read_twice,
    rows_swapped,
    unread,
    written_alive,
)
from sample.double_flaws import doubles_of_measures, doubles_of_state, doubles_that_agree
from sample.past import Past
from sample.slate_flaws import clocks, halves, photos_astray, practice, still_out, typed_twice, wrong_days, wrong_site
from sample.spoiler import Spoiler
from sample.story import Story

# Those that need rare corals choose first.
IN_ORDER = (
    mistaken_for_dead,
    found_again,
    not_searched,
    rows_swapped,
    written_alive,
    misread_tags,
    read_twice,
    photos_astray,
    by_position,
    implausible_sizes,
    unread,
    doubles_of_state,
    doubles_of_measures,
    notes,
    doubles_that_agree,
    typed_twice,
    wrong_days,
    wrong_site,
    practice,
    halves,
    clocks,
    still_out,
)


def spoil(day: BoatDay, story: Story, held: Past) -> None:
    """Plant every flaw; changes the day's slates in place and names each flaw in `day.flaws`."""
    spoiler = Spoiler(day, story, held)
    for plant in IN_ORDER:
        plant(spoiler)
