"""What common practice, permit, lot and other corals say to a planting before it is written."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from fieldkit.register.fold import Worn
from fieldkit.register.permits import Outplanted, permit_use
from fieldkit.register.practice import Plan, Wearer, advice, neighbours_m
from fieldkit.register.stock import Counted, counts, stock
from fieldkit.register.tags import Tagged

DAY = "2026-11-10"
TEN = [Tagged(f"B{number}", "g") for number in range(101, 111)]
PERMIT = {"number": "P1", "from": "2026-01-01", "until": "2026-12-31", "limits": {"acropora_muricata": "20"}}
GOOD = Plan(
    DAY, TEN, {"points": "3"}, {"area_m2": "0.6", "substrate": "pavement"}, species={"g": "Acropora muricata"}, permit=PERMIT
)


CASES = json.loads((Path(__file__).parents[1] / "cases" / "register" / "practice.json").read_text("utf-8"))


def keys(plan: Plan) -> list[str]:
    return [fault.key.removeprefix("programme.advice_") for fault in advice(plan)]


def test_ten_corals_with_three_points_in_a_ring_need_no_advice() -> None:
    """Common practice, no source: about ten corals to a ring of about 0.6 m2, three points of attachment."""
    assert keys(GOOD) == []


@pytest.mark.parametrize("case", CASES, ids=lambda case: str(case["name"]))
def test_a_planting_is_advised_as_the_cases_for_both_sides_have_it(case: dict[str, Any]) -> None:
    lot = case.get("lot", {})
    plan = Plan(
        DAY,
        [Tagged(f"B{i}", "g") for i in range(1, case["n"] + 1)],
        case.get("values", {}),
        case["plot"],
        standing=case.get("standing", 0),
        permit={"number": "P1"},
        lot_genotype=lot.get("genotype"),
        stock=stock([Counted("2026-11-01", lot["ready"], None)], []) if "ready" in lot else None,
        wearers={tag: [Wearer(Worn(tag), plot) for plot in plots] for tag, plots in case.get("worn", {}).items()},
    )
    assert [[one.key.removeprefix("programme.advice_"), dict(one.data)] for one in advice(plan)] == case["advice"]


def test_fewer_than_three_points_are_said() -> None:
    assert keys(replace(GOOD, values={"points": "2"})) == ["points"]


def test_a_coral_wedged_in_a_crevice_has_no_points_to_count() -> None:
    assert keys(replace(GOOD, values={"points": "0", "method": "crevice"})) == []


@pytest.mark.parametrize(("standing", "found"), [(2, []), (3, ["crowded"])])
def test_corals_that_stand_already_count_for_the_ring(standing: int, found: list[str]) -> None:
    assert keys(replace(GOOD, standing=standing)) == found


def test_neighbours_in_a_ring_stand_apart_as_geometry_says() -> None:
    """A ring of 0.6 m2 is 0.8740 m across, the chord of ten 0.2701 m: D = sqrt(4A/pi), D sin(pi/10)."""
    assert (round(math.sqrt(4 * 0.6 / math.pi), 4), round(neighbours_m(0.6, 10), 4)) == (0.8740, 0.2701)


def test_rubble_is_no_ground_to_plant_on() -> None:
    """Common practice, no source: stable bare substrate."""
    assert keys(replace(GOOD, plot={"substrate": "Rubble over sand"})) == ["substrate"]


@pytest.mark.parametrize(
    ("since", "until", "found"),
    [
        ("2024-01-01", None, ["tag_worn"]),
        ("2024-01-01", "2026-11-09", []),
        ("2024-01-01", DAY, ["tag_worn"]),
        (None, None, ["tag_worn"]),
    ],
)
def test_a_tag_that_another_coral_wears_on_that_day_is_named(since: str | None, until: str | None, found: list[str]) -> None:
    worn = {"B101": [Wearer(Worn("b101", since, until), "A")]}
    assert keys(replace(GOOD, wearers=worn)) == found


@pytest.mark.parametrize(("used", "found"), [(10, []), (11, ["over_limit"])])
def test_a_permit_is_used_up_by_what_was_planted_before(used: int, found: list[str]) -> None:
    assert keys(replace(GOOD, used={"acropora_muricata": used})) == found


def test_a_day_outside_the_permit_a_species_it_lacks_and_no_permit_are_said() -> None:
    plans = (replace(GOOD, day="2027-01-01"), replace(GOOD, species={"g": "Porites sp."}), replace(GOOD, permit=None))
    assert [keys(plan) for plan in plans] == [["outside_permit"], ["not_permitted"], ["no_permit"]]


def test_a_lot_gives_no_more_than_is_ready_and_only_its_own_genotype() -> None:
    known = stock([Counted("2026-11-01", 40, 12)], [("2026-11-05", 4)])
    assert keys(replace(GOOD, stock=known, lot_genotype="h")) == ["other_genotype", "more_than_ready"]


def test_a_permit_counts_what_was_planted_in_its_period_by_species() -> None:
    planted = [
        Outplanted("Acropora muricata", "2026-01-01", 7),
        Outplanted("acropora Muricata", "2026-12-31", 8),
        Outplanted("Acropora muricata", "2027-01-01", 100),
        Outplanted("Porites sp.", "2026-06-01", 2),
        Outplanted(None, "2026-06-01", 1),
        Outplanted("Acropora muricata", None, 3),
    ]
    found = permit_use(PERMIT, planted)
    assert [(one.species, one.used, one.limit, one.is_over) for one in found.species] == [
        ("Acropora muricata", 15, 20, False),
        ("Porites sp.", 2, None, False),
    ]
    assert found.undated == 3


def test_a_lot_is_what_was_counted_less_what_was_planted_since() -> None:
    found = stock([Counted("2026-10-01", 50, 30)], [("2026-09-30", 9), ("2026-10-01", 9), ("2026-10-02", 6), (None, 1)])
    assert found and (found.left, found.ready, found.planted, found.lost) == (44, 24, 25, 0)


def test_what_is_gone_between_two_counts_and_was_not_planted_is_lost() -> None:
    found = stock([Counted("2026-10-01", 50, 30), Counted("2026-11-01", 40, 20)], [("2026-10-10", 6)])
    assert found and (found.lost, found.left) == (4, 40)


def test_a_lot_that_grew_by_cutting_lost_nothing() -> None:
    found = stock([Counted("2026-10-01", 50, None), Counted("2026-11-01", 70, None)], [])
    assert found and (found.lost, found.ready) == (0, None)


def test_a_count_that_is_mended_is_no_second_count() -> None:
    said = [{"day": "2026-10-01", "count": "50"}, {"day": "2026-10-01", "count": "45", "ready": "9"}, {"note": "no count"}]
    assert counts(said) == [Counted("2026-10-01", 45, 9)]
