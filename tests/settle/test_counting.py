"""Counts of one genotype in a plot without tags: put together by visit, compared, and asked about."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fieldkit.register.fold import Group
from fieldkit.settle.counting import CountedGroup
from fieldkit.settle.fold import Settled
from fieldkit.settle.slates import Again, Slates
from tests.support.plot import GENOTYPE, PLANTED, PLOT, Plot, matters, open_kinds, the_matter
from tests.support.programme import name

JUNE, DECEMBER = "2024-06-01", "2024-12-01"  # ages 92 and 275


def ten(*planted: tuple[str | None, int]) -> Plot:
    """A counted plot of ten corals of one genotype."""
    return Plot(0, [Group(PLOT, GENOTYPE, planted or ((PLANTED, 10),), "cement", (name("planting"),))])


def group(settled: Settled) -> CountedGroup:
    (found,) = settled.groups
    return found


def lost(settled: Settled) -> list[tuple[int, int | None, int]]:
    history = group(settled).settled
    assert history is not None
    return [(one.left, one.right, one.weight) for one in history.lost]


def test_a_count_gives_intervals_with_weights() -> None:
    plot = ten()
    plot.count(plot.dive("kai"), 7, 2, 1)
    assert lost(plot.settle()) == [(0, 92, 3), (92, None, 7)]


def test_a_number_that_was_not_noted_is_none() -> None:
    plot = ten()
    plot.see(plot.dive("kai"), None, None, genotype=GENOTYPE, alive="7")
    assert lost(plot.settle()) == [(0, 92, 3), (92, None, 7)]


def test_the_halves_of_a_plot_add_up() -> None:
    plot = ten()
    for called, alive, part in (("kai", 4, "1"), ("noa", 3, "2")):
        plot.count(plot.dive(called), alive, part=part, parts="2")
    assert lost(plot.settle()) == [(0, 92, 3), (92, None, 7)]


def test_both_halves_of_a_plot_count() -> None:
    plot = ten()
    for called, part in (("kai", "1"), ("noa", "2")):
        plot.count(plot.dive(called), 4, part=part, parts="2")
    assert set(plot.settle().fates.values()) == {"counted"}


def test_while_a_part_is_out_the_visit_gives_no_state_and_is_a_matter() -> None:
    plot = ten()
    seen = plot.count(plot.dive("kai"), 4, part="1", parts="2")
    settled = plot.settle()
    assert (group(settled).visits, the_matter(settled, "count").why.key) == ((), "settle.part_out")
    assert settled.fates == {seen: "in a matter"}


def test_two_people_who_split_a_plot_in_different_numbers_of_parts_give_no_count() -> None:
    plot = ten()
    plot.count(plot.dive("kai"), 4, part="1", parts="2")
    plot.count(plot.dive("noa"), 2, part="2", parts="3")
    assert group(plot.settle()).visits == ()


def test_a_half_that_will_never_come_may_be_set_aside() -> None:
    plot = ten()
    seen = plot.count(plot.dive("kai"), 4, part="1", parts="2")
    plot.rule("count", [seen], "set_aside")
    settled = plot.settle()
    assert (open_kinds(settled), settled.fates) == ([], {seen: "set aside"})


# Two counts of one visit.


def two(one: tuple[int, int, int], other: tuple[int, int, int]) -> tuple[Plot, list[str]]:
    plot = ten()
    return plot, [plot.count(plot.dive(called), *numbers) for called, numbers in (("kai", one), ("noa", other))]


def test_two_counts_that_agree_count_once() -> None:
    plot, _ = two((7, 2, 1), (7, 2, 1))
    settled = plot.settle()
    assert (lost(settled)[-1], sorted(settled.fates.values())) == ((92, None, 7), ["agrees with a counted one", "counted"])


def test_two_counts_that_differ_are_a_matter_that_names_what_differs() -> None:
    plot, seen = two((7, 2, 1), (8, 2, 0))
    matter = the_matter(plot.settle(), "double")
    assert matter.fields["alive"] == dict(zip(seen, ("7", "8"), strict=True))
    assert set(matter.fields) == {"alive", "missing"}


def test_while_two_counts_differ_the_visit_gives_none_and_ranges_over_both() -> None:
    plot, _ = two((7, 2, 1), (8, 2, 0))
    (visit,) = group(plot.settle()).visits
    assert (visit.numbers, visit.worst, visit.best) == (None, (7, 2, 1), (8, 2, 0))


def test_a_ruling_on_what_differs_gives_the_count() -> None:
    plot, seen = two((7, 2, 1), (8, 2, 0))
    plot.rule("double", seen, "use", fields={"alive": "8", "missing": "0"})
    settled = plot.settle()
    assert (open_kinds(settled), [settled.fates[digest] for digest in seen]) == ([], ["overruled", "counted"])


def test_a_settled_count_ranges_over_nothing() -> None:
    plot, seen = two((7, 2, 1), (8, 2, 0))
    plot.rule("double", seen, "use", fields={"alive": "8", "missing": "0"})
    (visit,) = group(plot.settle()).visits
    assert visit.numbers == visit.worst == visit.best == (8, 2, 0)


@pytest.mark.parametrize("fields", [{"alive": "8"}, {"alive": "8", "missing": "none"}])
def test_a_ruling_that_says_too_little_leaves_two_counts_in_dispute(fields: dict[str, str]) -> None:
    plot, seen = two((7, 2, 1), (8, 2, 0))
    plot.rule("double", seen, "use", fields=fields)
    assert open_kinds(plot.settle()) == ["double"]


def test_one_of_two_counts_may_be_set_aside() -> None:
    plot, seen = two((7, 2, 1), (8, 2, 0))
    plot.rule("double", seen, "set_aside", observation=seen[0])
    settled = plot.settle()
    assert (open_kinds(settled), lost(settled)) == ([], [(0, 92, 2), (92, None, 8)])


def test_a_count_of_a_slate_typed_again_is_said_already() -> None:
    plot, _ = two((7, 2, 1), (8, 2, 0))
    one, other = (entry.session for entry in plot.said)
    settled = plot.settle(Slates(again={other: Again(one, "the ruling")}))
    assert (open_kinds(settled), lost(settled)[-1]) == ([], (92, None, 7))


# What cannot be.


def counted(*counts: tuple[str, int]) -> tuple[Plot, list[str]]:
    plot = ten()
    return plot, [plot.count(plot.dive("kai", day), alive, 0, max(10 - alive, 0)) for day, alive in counts]


def test_where_alive_rises_the_earlier_count_is_raised_and_a_matter_says_so() -> None:
    plot, seen = counted((JUNE, 6), (DECEMBER, 8))
    settled = plot.settle()
    matter = the_matter(settled, "count")
    assert (matter.why.key, matter.of, lost(settled)) == (
        "settle.alive_rises",
        tuple(sorted(seen)),
        [(0, 92, 2), (275, None, 8)],
    )


@pytest.mark.parametrize(
    ("day", "alive", "key"),
    [
        (JUNE, 12, "more_alive_than_planted"),
        ("2024-02-01", 10, "before_planting"),
        (PLANTED, 8, "missing_on_planting_day"),
    ],
)
def test_what_cannot_be_is_a_matter(day: str, alive: int, key: str) -> None:
    plot, _ = counted((day, alive))
    assert the_matter(plot.settle(), "count").why.key == f"settle.{key}"


def test_a_count_that_stands_is_asked_about_no_more_and_counts_as_it_did() -> None:
    plot, seen = counted((JUNE, 6), (DECEMBER, 8))
    before = lost(plot.settle())
    plot.rule("count", seen, "stands")
    settled = plot.settle()
    assert (open_kinds(settled), lost(settled)) == ([], before)


def test_a_miscount_may_be_set_aside() -> None:
    plot, seen = counted((JUNE, 6), (DECEMBER, 8))
    ruling = plot.rule("count", seen, "set_aside", observation=seen[0])
    settled = plot.settle()
    assert (lost(settled), the_matter(settled, "count").ruling) == ([(0, 275, 2), (275, None, 8)], ruling)


def test_a_count_before_the_planting_cannot_stand() -> None:
    plot, seen = counted(("2024-02-01", 10))
    plot.rule("count", seen, "stands")
    assert open_kinds(plot.settle()) == ["count"]


def test_a_plot_of_two_planting_days_gives_no_intervals_and_is_a_matter() -> None:
    plot = ten((PLANTED, 5), ("2024-05-01", 5))
    plot.count(plot.dive("kai"), 7)
    settled = plot.settle()
    assert (group(settled).settled, the_matter(settled, "count").why.key) == (None, "settle.two_planting_days")


def test_a_group_whose_planting_day_is_unknown_gives_no_intervals() -> None:
    plot = ten((None, 10))
    plot.count(plot.dive("kai"), 7)
    assert group(plot.settle()).settled is None


def test_a_number_planted_that_is_none_is_a_matter_that_is_mended_in_the_register() -> None:
    plot = ten()
    plot.groups[PLOT, GENOTYPE] = replace(plot.groups[PLOT, GENOTYPE], not_understood=("planting",))
    matter = the_matter(plot.settle(), "count")
    assert (matter.why.key, matter.of, matter.answers) == ("settle.planted_no_number", ("planting",), ())


def test_a_count_of_what_was_never_planted_there_is_a_matter_that_can_be_set_aside() -> None:
    plot = ten()
    seen = plot.count(plot.dive("kai"), 7, genotype=name("another"))
    before = plot.settle().fates[seen]
    plot.rule("count", [seen], "set_aside")
    assert (before, plot.settle().fates[seen], open_kinds(plot.settle())) == ("in a matter", "set aside", [])


@pytest.mark.parametrize(
    ("numbers", "name"), [(("8.5",), "alive"), (("all",), "alive"), (("-1",), "alive"), ((7, "two"), "dead")]
)
def test_a_count_that_is_no_whole_number_is_a_matter_and_not_understood(numbers: tuple[object, ...], name: str) -> None:
    plot = ten()
    seen = plot.count(plot.dive("kai"), *numbers)
    settled = plot.settle()
    assert (settled.fates[seen], list(the_matter(settled, "value").fields)) == ("not understood", [name])


def test_the_number_that_a_ruling_gives_counts() -> None:
    plot = ten()
    seen = plot.count(plot.dive("kai"), "8.5")
    plot.rule("value", [seen], "use", fields={"alive": "8"})
    settled = plot.settle()
    assert (open_kinds(settled), lost(settled)[-1]) == ([], (92, None, 8))


def test_a_count_without_the_living_is_not_understood() -> None:
    plot = ten()
    plot.see(plot.dive("kai"), None, None, genotype=GENOTYPE, dead="2")
    assert set(plot.settle().fates.values()) == {"not understood"}


def test_a_group_that_was_not_searched_gives_no_count_and_no_matter() -> None:
    plot = ten()
    seen = plot.see(plot.dive("kai"), None, None, genotype=GENOTYPE, searched="no")
    settled = plot.settle()
    assert (settled.fates, settled.matters) == ({seen: "not searched"}, ())


def test_genotypes_of_one_plot_are_counted_apart() -> None:
    plot = ten()
    other = name("another")
    plot.groups[PLOT, other] = Group(PLOT, other, ((PLANTED, 5),), None, ())
    dive = plot.dive("kai")
    plot.count(dive, 7)
    plot.count(dive, 5, genotype=other)
    assert [found.visits[0].numbers for found in plot.settle().groups] in ([(7, 0, 0), (5, 0, 0)], [(5, 0, 0), (7, 0, 0)])


def test_a_matter_about_a_count_belongs_to_its_plot() -> None:
    plot, _ = counted((JUNE, 6), (DECEMBER, 8))
    assert {matter.unit for matter in matters(plot.settle(), "count")} == {PLOT}
