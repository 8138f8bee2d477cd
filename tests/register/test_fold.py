"""What is planted where: corals, their tags over time, and the groups of counted plots."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from fieldkit.ledger import Entry, mint
from fieldkit.register.fold import Coral, Group, Worn, corals, groups
from tests.support.programme import name

CORAL, PLOT, DAYS = name("coral"), name("plot"), {name("march"): "2024-03-01", name("june"): "2024-06-01", name("nobody"): None}


def said(kind: str, session: str = "march", **values: Any) -> Entry:
    return mint(kind, device=name("device"), session=name(session), seq=1, at=0, values=values)


def planted(session: str = "march", **values: Any) -> Entry:
    return said("planting", session, **{"row": CORAL, "plot": PLOT, "tag": "101", **values})


def mended(**values: Any) -> Entry:
    return said("coral", "june", **{"coral": CORAL, **values})


def coral(*entries: Entry) -> Coral:
    return corals(entries, DAYS)[CORAL]


def test_a_planting_makes_a_coral_with_the_id_of_its_row() -> None:
    found = coral(planted(position="3", genotype="G", method="epoxy"))
    values = {"plot": PLOT, "position": "3", "genotype": "G", "method": "epoxy", "planted_on": "2024-03-01"}
    assert (found.values, found.plot, found.tag, found.name) == (values, PLOT, "101", "101")


def test_a_coral_was_planted_on_the_day_of_its_session() -> None:
    assert coral(planted("june")).values["planted_on"] == "2024-06-01"


def test_where_the_session_has_no_day_the_planting_day_is_unknown() -> None:
    assert "planted_on" not in coral(planted("nobody")).values


def test_what_a_lead_says_goes_before_what_the_planting_said() -> None:
    found = coral(planted(genotype="G"), mended(genotype="H", planted_on="2024-02-28", precision="month"))
    assert [found.values[key] for key in ("genotype", "planted_on", "precision")] == ["H", "2024-02-28", "month"]


def test_what_nobody_mended_stays_as_it_was_planted() -> None:
    assert coral(planted(genotype="G"), mended(withdrawn_on="2024-06-01")).values["genotype"] == "G"


def test_a_coral_that_only_a_lead_speaks_of_is_known() -> None:
    assert coral(mended(plot=PLOT, position="9")).name == "9"


def test_where_two_leads_contradict_each_other_the_value_is_unknown_and_named() -> None:
    found = coral(planted(genotype="G"), mended(genotype="H"), mended(genotype="I"))
    assert ("genotype" in found.values, found.disputed) == (False, ("genotype",))


def test_a_lead_settles_what_two_plantings_contradict() -> None:
    found = coral(planted(genotype="G"), planted("june", genotype="H"), mended(genotype="H", planted_on="2024-06-01"))
    assert (found.values["genotype"], found.disputed) == ("H", ())


def test_a_coral_is_said_by_every_entry_that_speaks_of_it() -> None:
    entries = [planted(), mended(plot=PLOT), said("tag", coral=CORAL, tag="7")]
    assert coral(*entries).said_by == tuple(sorted(entry.digest for entry in entries))


def test_the_order_of_entries_does_not_matter() -> None:
    entries = [
        planted(genotype="G"),
        mended(genotype="H"),
        said("tag", coral=CORAL, tag="7"),
        said("action", "june", coral=CORAL, tag="8"),
    ]
    assert coral(*entries) == coral(*entries[::-1])


# Tags.


@pytest.mark.parametrize(("day", "wears"), [("2024-02-29", False), ("2024-03-01", True), ("2030-01-01", True), (None, True)])
def test_a_tag_is_worn_from_the_planting_on(day: str | None, wears: bool) -> None:
    assert coral(planted()).wears("101", day) is wears


def test_a_new_tag_is_worn_from_the_day_of_the_action_on_and_is_the_one_it_got_last() -> None:
    found = coral(planted(), said("action", "june", coral=CORAL, tag="777"))
    assert (found.wears("777", "2024-05-31"), found.wears("777", "2024-06-01"), found.tag) == (False, True, "777")


def test_the_old_tag_goes_on_being_read_beside_the_new_one() -> None:
    assert coral(planted(), said("action", "june", coral=CORAL, tag="777")).wears("101", "2024-12-01")


def test_a_lead_who_ends_a_tag_ends_it_though_the_planting_did_not() -> None:
    found = coral(planted(), said("tag", coral=CORAL, tag=" 101", until="2024-05-01"))
    assert (found.wears("101", "2024-05-01"), found.wears("101", "2024-05-02")) == (True, False)


def test_a_tag_may_be_worn_twice() -> None:
    spans = ({"until": "2024-04-01"}, {"from": "2024-06-01"})
    found = coral(planted(), *(said("tag", coral=CORAL, tag="101", **span) for span in spans))
    assert [found.wears("101", day) for day in ("2024-03-15", "2024-05-01", "2024-07-01")] == [True, False, True]


@pytest.mark.parametrize(
    ("one", "other", "overlap"),
    [
        (Worn("1", None, "2024-05-01"), Worn("1", "2024-05-02"), False),
        (Worn("1", None, "2024-05-01"), Worn("1", "2024-05-01"), True),
        (Worn("1"), Worn("1", "2024-05-01", "2024-06-01"), True),
    ],
)
def test_tags_overlap_where_both_are_worn_on_some_day(one: Worn, other: Worn, overlap: bool) -> None:
    assert one.overlaps(other) is other.overlaps(one) is overlap


@pytest.mark.parametrize(
    ("day", "there"), [("2024-02-01", False), ("2024-03-01", True), ("2024-06-01", True), ("2024-06-02", False)]
)
def test_a_coral_stands_in_its_plot_from_planting_to_withdrawal(day: str, there: bool) -> None:
    assert coral(planted(), mended(withdrawn_on="2024-06-01")).is_there(day) is there


# Groups.


def group(*plantings: Mapping[str, Any]) -> Group:
    entries = [
        said(
            "planting",
            values.get("session", "march"),
            row=name(i),
            plot=PLOT,
            genotype="G",
            **{k: v for k, v in values.items() if k != "session"},
        )
        for i, values in enumerate(plantings)
    ]
    return groups(entries, DAYS)[PLOT, "G"]


def test_plantings_of_one_genotype_in_a_counted_plot_are_one_group() -> None:
    found = group({"count": "5", "method": "cement"}, {"count": "7", "session": "june", "method": "cement"})
    assert (found.planted, found.method) == ((("2024-03-01", 5), ("2024-06-01", 7)), "cement")


def test_a_method_that_two_plantings_do_not_share_is_unknown() -> None:
    assert group({"count": "5", "method": "cement"}, {"count": "7", "method": "epoxy"}).method is None


def test_a_planting_with_a_count_makes_no_coral() -> None:
    assert corals([planted(count="5")], DAYS) == {}


@pytest.mark.parametrize("count", ["ten", "5.5", "-5", ""])
def test_a_number_planted_that_is_none_plants_nobody_and_is_named(count: str) -> None:
    found = group({"count": "5"}, {"count": count})
    assert (found.planted, len(found.not_understood)) == ((("2024-03-01", 5),), 1)
