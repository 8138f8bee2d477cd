"""What stands on a slate, before it is laid on paper."""

from __future__ import annotations

import pytest

from fieldkit.protocol import read_protocol
from tests.slates.printed import coral, made, seen
from tests.support.programme import PROTOCOL_FILE, monitoring

COUNTED = {
    "name": "C",
    "recorded_as": "counted",
    "groups": [{"genotype": "g7", "planted": 10}, {"genotype": "g8", "planted": 8}],
}


def test_rows_stand_in_the_order_of_the_register() -> None:
    (slate,) = made({"name": "P", "corals": [coral("B9"), coral("B10"), coral("A1")]})
    assert [(row.number, row.called) for row in slate.rows] == [("1", "B9"), ("2", "B10"), ("3", "A1")]


def test_every_field_of_a_coral_is_a_box_and_no_other_is() -> None:
    (slate,) = made({"name": "P", "corals": [coral("B1")]})
    fields = [field.label["en"] for field in monitoring().fields_of("coral")]
    assert [box.label.partition(" (")[0] for box in slate.boxes] == [*fields, "Note"]


def test_every_field_of_the_dive_is_a_box_at_the_top() -> None:
    (slate,) = made({"name": "P", "corals": [coral("B1")]})
    assert [box.label for box in slate.head] == [
        "Depth (m)",
        "Water temperature (°C)",
        "Measured with",
        "Visibility (m)",
        "Current",
    ]


def test_a_counted_plot_has_a_row_a_genotype_with_what_was_planted() -> None:
    (slate,) = made(COUNTED)
    assert [(row.called, row.planted) for row in slate.rows] == [("AMUR-07", "10"), ("AMUR-08", "8")]


def test_a_counted_plot_asks_for_counts_the_part_and_the_protocols_fields_of_counts() -> None:
    (slate,) = made(COUNTED)
    assert [box.label for box in slate.boxes] == [
        "Alive",
        "Dead",
        "Missing",
        "Part",
        "Bleached",
        "With signs of disease",
        "Note",
    ]


def test_boxes_have_room_for_the_longest_code() -> None:
    """5 mm a sign: common practice, no source."""
    (slate,) = made({"name": "P", "corals": [coral("B1")]})
    room = {box.label: box.room for box in slate.boxes}
    assert room["Condition"] >= 10 and room["Probable name"] >= 15  # BBD


def test_names_where_room_is_scarce_mean_one_field_each() -> None:
    (slate,) = made({"name": "P", "corals": [coral("B1")]})
    short = [box.short for box in slate.boxes if box.short]
    assert len(set(short)) == len(short) == len(monitoring().fields_of("coral"))


def test_a_coral_that_nobody_saw_yet_says_so() -> None:
    (slate,) = made({"name": "P", "corals": [coral("B1")]}, blind=False)
    assert slate.rows[0].last == "not visited yet"


@pytest.mark.parametrize(("told", "last"), [("hidden", ""), ("shown", "Alive, 12.5 cm")])
def test_whether_the_last_visit_is_shown_is_the_protocols_to_say(told: str, last: str) -> None:
    body = PROTOCOL_FILE.read_text("utf-8").replace('last_seen = "hidden"', f'last_seen = "{told}"')
    protocol = read_protocol(body.encode(), name="one.toml")
    (slate,) = made({"name": "P", "corals": [coral("B1", last=seen("alive", size_cm="12.5"))]}, protocol=protocol)
    assert slate.rows[0].last == last


def test_the_sign_for_all_well_says_what_it_means_in_the_programmes_codes() -> None:
    (slate,) = made({"name": "P", "corals": [coral("B1")]})
    told = " ".join(code for one in slate.legend if not one.label for code in one.codes)
    assert "(Condition A, Attachment S, Broken off -," in told


def test_of_a_place_nothing_is_told_that_is_not_known() -> None:
    assert made({"name": "P", "corals": [coral("B1")]})[0].find == ()


def test_a_long_note_is_cut_and_shows_that_it_went_on() -> None:
    notes = {"plot-0": {"note": "word " * 100, "recorder": "KT", "day": "2026-06-01"}}
    (slate,) = made({"name": "P", "corals": [coral("B1")]}, notes=notes)
    assert len(slate.find[0]) < 300 and "…” (KT, 1 Jun 2026)" in slate.find[0]
