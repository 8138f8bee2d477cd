"""Sizes that cannot well be, and values that were not understood: asked, refused never, mended by a ruling."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from fieldkit.settle.fold import Settled
from fieldkit.settle.histories import Interval
from tests.support.plot import Plot, life, matters, open_kinds, the_matter


def measured(*sizes: tuple[str, str], **values: Any) -> tuple[Plot, list[str]]:
    """Coral 101 with these sizes on these days."""
    plot = Plot()
    return plot, [plot.see(plot.dive("kai", day), "101", size_cm=size, **values) for day, size in sizes]


def sizes(settled: Settled) -> list[str]:
    return [visit.values["size_cm"] for visit in life(settled).seen("alive")]


@pytest.mark.parametrize(
    ("size", "asked"),
    [("40", False), ("40.1", True), ("41", True)],  # 30 cm in a year pass, 31 ask: three times 10 (Ware et al. 2020)
)
def test_growth_past_what_the_protocol_calls_plausible_is_asked(size: str, asked: bool) -> None:
    plot, _ = measured(("2024-06-01", "10"), ("2025-06-01", size))
    assert (open_kinds(plot.settle()) == ["size"]) is asked


def test_no_rate_is_asked_about_under_sixty_days() -> None:
    plot, _ = measured(("2024-06-01", "10"), ("2024-07-30", "90"))
    assert open_kinds(plot.settle()) == []


def test_a_coral_may_shrink() -> None:
    plot, _ = measured(("2024-06-01", "90"), ("2025-06-01", "10"))
    assert open_kinds(plot.settle()) == []


def test_growth_is_told_from_the_last_visit_with_a_size() -> None:
    plot, _ = measured(("2024-06-01", "10"))
    plot.see(plot.dive("kai", "2024-12-01"), "101")
    plot.see(plot.dive("kai", "2025-06-01"), "101", size_cm="45")
    assert the_matter(plot.settle(), "size").why.data == {"small": "10", "large": "45", "days": 365}


def test_an_odd_size_counts_while_it_is_asked_and_touches_no_state() -> None:
    plot, _ = measured(("2024-06-01", "10"), ("2024-12-01", "90"))
    settled = plot.settle()
    assert (sizes(settled), life(settled).is_disputed) == (["10", "90"], False)


def test_an_odd_size_that_stands_is_settled() -> None:
    plot, seen = measured(("2024-06-01", "10"), ("2024-12-01", "90"))
    plot.rule("size", seen, "stands")
    assert (open_kinds(plot.settle()), sizes(plot.settle())) == ([], ["10", "90"])


def test_the_size_that_a_ruling_gives_is_that_of_the_later_visit() -> None:
    plot, seen = measured(("2024-06-01", "10"), ("2024-12-01", "90"))
    plot.rule("size", seen, "use", fields={"size_cm": "19"})
    assert (open_kinds(plot.settle()), sizes(plot.settle())) == ([], ["10", "19"])


def test_a_ruling_that_names_the_earlier_observation_mends_that_one() -> None:
    plot, seen = measured(("2024-06-01", "1"), ("2024-12-01", "90"))
    plot.rule("size", seen, "use", fields={"size_cm": "85"}, observation=seen[0])
    assert sizes(plot.settle()) == ["85", "90"]


def test_later_sizes_are_judged_by_the_one_that_a_ruling_gave() -> None:
    plot, seen = measured(("2024-06-01", "10"), ("2024-12-01", "90"), ("2025-06-01", "92"))
    plot.rule("size", seen[:2], "use", fields={"size_cm": "19"})
    (asked,) = [matter for matter in matters(plot.settle(), "size") if matter.is_open]
    assert asked.of == tuple(sorted(seen[1:]))


def test_a_ruling_that_gives_no_number_leaves_the_matter_open() -> None:
    plot, seen = measured(("2024-06-01", "10"), ("2024-12-01", "90"))
    plot.rule("size", seen, "use", fields={"size_cm": "small"})
    assert (open_kinds(plot.settle()), sizes(plot.settle())) == (["size"], ["10", "90"])


def test_of_a_dead_coral_no_growth_is_told() -> None:
    plot, _ = measured(("2024-06-01", "10"))
    plot.see(plot.dive("kai", "2024-12-01"), "101", "dead")
    assert open_kinds(plot.settle()) == []


# Values that were not understood.


def test_a_value_outside_its_list_is_a_matter_that_names_the_field() -> None:
    plot = Plot()
    seen = plot.see(plot.dive("kai"), "101", bleaching="a little")
    matter = the_matter(plot.settle(), "value")
    assert (matter.of, matter.why.key, list(matter.fields)) == ((seen,), "protocol.not_in_list", ["bleaching"])


def test_what_else_the_row_says_counts() -> None:
    plot = Plot()
    plot.see(plot.dive("kai"), "101", bleaching="a little", size_cm="12")
    assert life(plot.settle()).visits[0].values == {"status": "alive", "size_cm": "12"}


def test_a_matter_names_every_field_that_was_not_understood() -> None:
    plot = Plot()
    plot.see(plot.dive("kai"), "101", bleaching="a little", size_cm="big")
    assert set(the_matter(plot.settle(), "value").fields) == {"bleaching", "size_cm"}


def test_an_observation_whose_state_was_not_understood_has_that_fate() -> None:
    plot = Plot()
    seen = plot.see(plot.dive("kai"), "101", "sleeping")
    settled = plot.settle()
    assert (settled.fates[seen], life(settled).settled.lost) == ("not understood", Interval(0, None))


def test_the_value_that_a_ruling_gives_counts() -> None:
    plot = Plot()
    seen = plot.see(plot.dive("kai"), "101", "sleeping")
    plot.rule("value", [seen], "use", fields={"status": "dead"})
    settled = plot.settle()
    assert (open_kinds(settled), settled.fates[seen], life(settled).settled.lost) == ([], "counted", Interval(0, 92))


def test_a_ruling_on_values_touches_only_those_that_were_not_understood() -> None:
    plot = Plot()
    seen = plot.see(plot.dive("kai"), "101", bleaching="a little", size_cm="12")
    plot.rule("value", [seen], "use", fields={"bleaching": "pale", "size_cm": "99"})
    assert life(plot.settle()).visits[0].values == {"status": "alive", "size_cm": "12", "bleaching": "pale"}


def test_a_value_that_stands_as_it_is_is_asked_about_no_more_and_counts_nowhere() -> None:
    plot = Plot()
    seen = plot.see(plot.dive("kai"), "101", bleaching="a little")
    plot.rule("value", [seen], "stands")
    assert (open_kinds(plot.settle()), life(plot.settle()).visits[0].values) == ([], {"status": "alive"})


# What says nothing about a state.


def test_a_coral_that_was_not_searched_gives_no_state_and_no_matter() -> None:
    plot = Plot()
    seen = plot.see(plot.dive("kai"), "101", None, searched="no")
    settled = plot.settle()
    assert (settled.fates[seen], life(settled).visits, settled.matters) == ("not searched", (), ())


def test_practice_stands_outside_everything_even_where_it_says_nonsense() -> None:
    plot = Plot()
    dive = plot.dive("kai", practice=True)
    seen = [plot.see(dive, "101", "dead"), plot.see(dive, "999"), plot.see(dive, "102", "sleeping")]
    settled = plot.settle()
    assert settled.fates == dict.fromkeys(sorted(seen), "practice")
    assert (settled.matters, life(settled).visits) == ((), ())


def test_a_session_set_aside_counts_nowhere() -> None:
    plot = Plot()
    seen = plot.see(plot.dive("kai", set_aside=True), "101", "dead")
    assert plot.settle().fates == {seen: "set aside"}


def test_without_a_day_an_observation_waits_for_the_matter_of_its_session() -> None:
    plot = Plot()
    dive = plot.dive("kai")
    plot.dives[dive] = replace(plot.dives[dive], day=None)
    seen = plot.see(dive, "101", "dead")
    settled = plot.settle()
    assert (settled.fates, life(settled).visits) == ({seen: "in a matter"}, ())


def test_until_its_protocol_arrives_nothing_of_an_observation_is_understood_nor_asked() -> None:
    plot = Plot()
    dive = plot.dive("kai")
    plot.dives[dive] = replace(plot.dives[dive], protocol=None)
    seen = plot.see(dive, "101")
    settled = plot.settle()
    assert (settled.fates, settled.matters) == ({seen: "not understood"}, ())
