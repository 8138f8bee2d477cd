"""A later version of the protocol renames fields and values: what was noted under the earlier one counts on."""

from __future__ import annotations

from functools import cache

import pytest

from fieldkit.protocol import Protocol, read_protocol
from tests.support.plot import MONITORING, Plot, life, open_kinds, the_matter


@cache
def version_4() -> Protocol:
    """The monitoring protocol with the size, the cause and one cause under other names."""
    text = MONITORING().body.decode("utf-8")
    text = text.replace("version = 1", "version = 4")
    text = text.replace('name = "size_cm"', 'name = "width_cm"\nwas = "size_cm"')
    text = text.replace('name = "cause"\n', 'name = "lost_to"\nwas = "cause"\n')
    text = text.replace('{ value = "detachment", code', '{ value = "came_off", was = "detachment", code')
    return read_protocol(text.encode("utf-8"), name="version_4.toml")


def both(one: dict[str, str], other: dict[str, str], days: tuple[str, str] = ("2024-06-01", "2024-06-01")) -> Plot:
    """Coral 101, seen first under the old version, then under the new."""
    plot = Plot()
    plot.see(plot.dive("kai", days[0]), "101", **one)
    plot.see(plot.dive("noa", days[1], protocol=version_4()), "101", **other)
    return plot


def test_the_new_version_does_rename() -> None:
    assert version_4().field("width_cm") is not None
    assert version_4().field("size_cm") is None


def test_a_renamed_field_is_compared_with_what_it_was() -> None:
    plot = both({"size_cm": "12"}, {"width_cm": "19"})
    assert list(the_matter(plot.settle(), "double").fields) == ["width_cm"]


def test_a_renamed_value_agrees_with_what_it_was() -> None:
    plot = both({"status": "dead", "cause": "detachment"}, {"status": "dead", "lost_to": "came_off"})
    assert open_kinds(plot.settle()) == []


def test_the_values_of_a_visit_stand_under_the_newest_names() -> None:
    plot = both({"size_cm": "12"}, {"bleaching": "pale"})
    assert life(plot.settle()).visits[0].values == {"status": "alive", "width_cm": "12", "bleaching": "pale"}


def test_growth_is_told_across_the_versions() -> None:
    plot = both({"size_cm": "12"}, {"width_cm": "90"}, ("2024-06-01", "2025-06-01"))
    assert open_kinds(plot.settle()) == ["size"]


def test_the_cause_of_a_death_found_under_the_old_version_is_told_by_its_new_name() -> None:
    plot = both({"status": "dead", "cause": "detachment"}, {"status": "dead"}, ("2024-06-01", "2025-06-01"))
    assert life(plot.settle()).cause == "came_off"


def test_a_phone_that_still_uses_the_old_version_does_not_bring_the_old_names_back() -> None:
    plot = both({"width_cm": "12"}, {})
    plot.said.clear()
    plot.see(plot.dive("noa", protocol=version_4()), "101", width_cm="12")
    plot.see(plot.dive("kai", "2025-06-01"), "101", size_cm="14")
    assert [visit.values["width_cm"] for visit in life(plot.settle()).seen("alive")] == ["12", "14"]


@pytest.mark.parametrize("name", ["size_cm", "width_cm"])
def test_a_ruling_under_either_name_goes_on_applying(name: str) -> None:
    plot = both({"size_cm": "12"}, {"width_cm": "19"})
    plot.rule("double", [entry.digest for entry in plot.said], "use", fields={name: "19"})
    settled = plot.settle()
    assert (open_kinds(settled), life(settled).visits[0].values["width_cm"]) == ([], "19")
