"""The register's fields are said once, and what is typed into them is kept in one form or refused with its reason."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from fieldkit.register.fields import REGISTER, name_taken, read_form, shown_in_form, species_key
from tests.support.programme import name

ENTRIES = (Path(__file__).parents[2] / "docs" / "entries.md").read_text("utf-8")
SITE, PLOT = REGISTER["site"], REGISTER["plot"]
LIMITS = REGISTER["permit"].field("limits")


def site(**given: str) -> dict[str, str]:
    return {"name": "Amo", **given}


def faults(kind: str, **given: str) -> dict[str, str]:
    found = read_form(REGISTER[kind], given, {})
    return {field: fault.key.removeprefix("programme.") for field, fault in found.faults.items()}


@pytest.mark.parametrize("kind", REGISTER)
def test_the_documented_keys_of_a_kind_are_its_fields(kind: str) -> None:
    row = re.search(rf"^\| `{kind}` \| (.*) \|$", ENTRIES.partition("### The register")[2], re.MULTILINE)
    assert row
    documented = set(re.findall(r"`([a-z0-9_]+)`", re.sub(r"\([^)]*\)", "", row[1])))
    assert documented == {kind, *(field.name for field in REGISTER[kind].fields)}


def test_a_number_is_kept_as_typed_in_its_one_form() -> None:
    assert read_form(SITE, site(latitude=" -06,9350 ", longitude="+167.9"), {}).values["latitude"] == "-6.9350"


def test_an_empty_field_says_nothing() -> None:
    assert read_form(SITE, site(code=" ", note=""), {}).values == {"name": "Amo"}


@pytest.mark.parametrize(
    ("given", "field", "key"),
    [
        ({"name": " "}, "name", "needed"),
        ({"latitude": "91", "longitude": "1"}, "latitude", "out_of_range"),
        ({"latitude": "6° 56' S", "longitude": "1"}, "latitude", "no_number"),
        ({"latitude": "-6.9"}, "longitude", "half_a_position"),
        ({"latitude": "0", "longitude": "0.0"}, "latitude", "null_island"),
        ({"time_zone": "Mars/Base"}, "time_zone", "no_zone"),
        ({"permit": name("nobody")}, "permit", "not_one_of"),
        ({"code": "x" * 201}, "code", "too_long"),
    ],
)
def test_what_a_site_cannot_be_is_refused_by_field(given: dict[str, str], field: str, key: str) -> None:
    assert faults("site", **site(**given)) == {field: key}


def test_a_permit_ends_after_it_began() -> None:
    assert faults("permit", number="1", **{"from": "2026-05-01", "until": "2026-04-30"}) == {"until": "ends_before"}


@pytest.mark.parametrize("day", ["2026-02-30", "30.4.2026", "20260430", "2026-4-3"])
def test_a_day_is_year_month_day_and_in_the_calendar(day: str) -> None:
    assert faults("permit", number="1", until=day) == {"until": "no_day"}


def test_no_more_of_a_lot_is_ready_than_there_is() -> None:
    said = {"genotype": name("genotype"), "structure": "tree 1", "count": "40", "ready": "41", "day": "2026-05-01"}
    assert read_form(REGISTER["lot"], said, {"genotype": [name("genotype")]}).faults.keys() == {"ready"}


def test_fragments_are_counted_whole() -> None:
    assert faults("lot", count="4.5")["count"] == "no_whole_number"


def test_a_person_has_initials_or_a_name() -> None:
    assert (faults("person", consent="yes"), faults("person", name="Ana")) == ({"initials": "needed"}, {})


def test_limits_are_one_species_a_line() -> None:
    typed = "Acropora muricata 250\r\nPocillopora verrucosa: 40\n"
    assert read_form(REGISTER["permit"], {"number": "1", "limits": typed}, {}).values["limits"] == {
        "acropora_muricata": "250",
        "pocillopora_verrucosa": "40",
    }


@pytest.mark.parametrize(
    ("typed", "key"), [("Acropora", "no_limit"), ("Acropora 1\nacropora 2", "limit_twice"), ("* 3", "no_limit")]
)
def test_limits_that_cannot_be_read_are_refused(typed: str, key: str) -> None:
    assert faults("permit", number="1", limits=typed) == {"limits": key}


def test_limits_shown_in_a_form_are_read_back_as_they_were() -> None:
    limits = {"acropora_muricata": "250", "porites_sp": "3"}
    assert LIMITS
    assert (
        read_form(REGISTER["permit"], {"number": "1", "limits": shown_in_form(LIMITS, limits)}, {}).values["limits"] == limits
    )


def test_a_species_has_one_key_however_it_is_written() -> None:
    assert {species_key(text) for text in ("Acropora muricata", "acropora  MURICATA", "Acropora-muricata")} == {
        "acropora_muricata"
    }


def test_an_odd_value_that_nobody_touched_stays() -> None:
    kept = {"name": "A", "recorded_as": "drawn"}
    given = {"site": name("site"), "name": "A", "recorded_as": "drawn"}
    assert read_form(PLOT, given, {"site": [name("site")]}, kept).values["recorded_as"] == "drawn"


def test_signs_that_cannot_be_seen_are_left_out() -> None:
    assert read_form(SITE, site(code="\u202eA\x00B\x1b"), {}).values["code"] == "AB"


def test_two_sites_may_each_have_a_plot_of_one_name() -> None:
    others = {name("one"): {"site": name("amo"), "name": "A 1"}}
    here, there = ({"site": name(called), "name": "a1"} for called in ("amo", "ela"))
    assert (name_taken(PLOT, here, name("two"), others), name_taken(PLOT, there, name("two"), others)) == (name("one"), None)
