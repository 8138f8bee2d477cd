"""The protocols that ship: they are read without a fault and hold what the other parts ask of them."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldkit import messages
from fieldkit.protocol import Protocol, read_protocol, understand
from fieldkit.shipped import SAMPLE_SURVEYS

FILES = sorted((SAMPLE_SURVEYS / "protocols").glob("*.toml"))
CONDITION = ["status", "attachment", "tag_state", "breakage", "cause", "size", "live_tissue", "recent_mortality"]
SIGNS = ["bleaching", "disease", "predation", "competition"]


def shipped(name: str) -> Protocol:
    return read_protocol((SAMPLE_SURVEYS / "protocols" / f"{name}.toml").read_bytes(), name=name)


def test_three_protocols_ship() -> None:
    assert [shipped(file.stem).name for file in FILES] == ["nursery-round", "outplanting", "post-outplant-monitoring"]


@pytest.mark.parametrize("file", FILES, ids=[file.stem for file in FILES])
def test_every_field_goes_to_exports_under_a_term(file: Path) -> None:
    protocol = shipped(file.stem)
    assert all(field.term for field in protocol.fields)


@pytest.mark.parametrize("file", FILES, ids=[file.stem for file in FILES])
def test_every_number_has_its_unit(file: Path) -> None:
    protocol = shipped(file.stem)
    assert all(field.unit for field in protocol.fields if field.kind in ("number", "percent"))


@pytest.mark.parametrize("name", ["post_outplant_monitoring", "nursery_round"])
def test_one_tap_records_a_whole_row_of_a_living_coral(name: str) -> None:
    protocol = shipped(name)
    understood = understand(protocol, "coral", protocol.all_well)
    assert understood.faults == ()
    assert understood.values["status"] == "alive"


def test_monitoring_answers_for_every_condition_that_reports_ask_for() -> None:
    protocol = shipped("post_outplant_monitoring")
    assert [role for role in (*CONDITION, *SIGNS, "temperature", "depth") if protocol.with_role(role) is None] == []


def test_only_the_condition_must_be_filled_in_at_a_visit() -> None:
    assert [field.name for field in shipped("post_outplant_monitoring").fields if field.required] == ["status"]


@pytest.mark.parametrize(
    ("state", "fields"),
    [("alive", {"bleaching", "size_cm", "live_tissue"}), ("dead", {"cause"}), ("missing", {"trace", "cause"})],
)
def test_a_state_asks_for_its_own_fields(state: str, fields: set[str]) -> None:
    protocol = shipped("post_outplant_monitoring")
    given = {"bleaching": "pale", "size_cm": "9", "live_tissue": "80", "cause": "disease", "trace": "nothing"}
    assert fields <= understand(protocol, "coral", {"status": state, **given}).values.keys()


def test_bleaching_of_a_dead_coral_is_not_understood() -> None:
    faults = understand(shipped("post_outplant_monitoring"), "coral", {"status": "dead", "bleaching": "pale"}).faults
    assert [(fault.key, fault.data["name"]) for fault in faults] == [("protocol.does_not_apply", "bleaching")]


def test_the_windows_of_monitoring_are_those_of_the_trade() -> None:
    """Common practice, no source: 21 to 45 days, 75 to 120, 150 to 215, a year give or take 45 days."""
    windows = [(one.age_days, one.early_days, one.late_days) for one in shipped("post_outplant_monitoring").rounds]
    assert windows[:4] == [(30, 21, 45), (91, 75, 120), (182, 150, 215), (365, 320, 410)]


def test_growth_above_three_times_the_published_figure_is_asked_about() -> None:
    """10 cm a year: Ware et al. 2020, PLoS ONE 15: e0231817."""
    assert shipped("post_outplant_monitoring").plausible == {"growth_cm_per_year": 3 * 10}


def test_wordings_are_there_in_every_language() -> None:
    for file in FILES:
        for field in shipped(file.stem).fields:
            assert set(messages.LANGUAGES) <= field.label.keys() & (field.help or field.label).keys(), field.name


@pytest.mark.parametrize(
    ("name", "ordered"),
    [
        ("post_outplant_monitoring", {"breakage", "bleaching"}),
        ("nursery_round", {"bleaching", "fouling"}),
        ("outplanting", set()),
    ],
)
def test_classes_of_degree_say_that_they_are_ordered(name: str, ordered: set[str]) -> None:
    assert {field.name for field in shipped(name).fields if field.ordered} == ordered
