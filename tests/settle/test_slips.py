"""Rows of two neighbours that changed places: when it is asked, and what each answer makes of it."""

from __future__ import annotations

from typing import Any

import pytest

from fieldkit.settle.histories import Interval
from fieldkit.settle.matter import Matter
from tests.support.plot import Plot, coral, life, matters, open_kinds
from tests.support.programme import name

JUNE, DECEMBER = "2024-06-01", "2024-12-01"  # ages 92 and 275


def slipped(
    first: tuple[str, str | None] = ("alive", "18"),
    second: tuple[str, str | None] = ("dead", None),
    lines: tuple[int, int] = (4, 5),
) -> tuple[Plot, list[str]]:
    """101 was found dead in June, 102 alive; in December the rows of the two say this, in this order on the slate."""
    plot = Plot([coral("101"), coral("102"), coral("103")])
    march = plot.dive("kai", "2024-04-01")
    for tag, size in (("101", "25"), ("102", "12"), ("103", "40")):
        plot.see(march, tag, size_cm=size, line=tag[-1])
    june = plot.dive("kai", JUNE)
    plot.see(june, "101", "dead", line="1")
    plot.see(june, "102", "alive", size_cm="14", line="2")
    plot.see(june, "103", "alive", size_cm="42", line="3")
    december = plot.dive("noa", DECEMBER)
    rows = [
        plot.see(december, tag, status, line=str(line), **({"size_cm": size} if size else {}))
        for tag, (status, size), line in zip(("101", "102"), (first, second), lines, strict=True)
    ]
    return plot, rows


def asked(plot: Plot) -> list[Matter]:
    return [matter for matter in matters(plot.settle(), "history") if matter.why.key == "settle.rows_swapped"]


def test_rows_that_fit_each_others_coral_are_one_matter_about_the_two() -> None:
    plot, rows = slipped()
    (matter,) = asked(plot)
    assert (matter.of, matter.answers) == (tuple(sorted(rows)), ("swap", "stands"))


def test_while_it_is_asked_what_the_rows_make_odd_is_not_asked_besides() -> None:
    plot, _ = slipped()
    assert open_kinds(plot.settle()) == ["history"]


def test_while_it_is_asked_the_rows_count_as_they_were_noted() -> None:
    plot, rows = slipped()
    settled = plot.settle()
    assert (life(settled).settled.lost, [settled.fates[row] for row in rows]) == (Interval(275, None), ["counted"] * 2)


def test_while_it_is_asked_both_corals_are_unsettled_and_range_over_both_answers() -> None:
    plot, _ = slipped()
    other = life(plot.settle(), "102")
    assert (other.is_disputed, other.worst.lost, other.best.lost) == (True, Interval(92, 275), Interval(275, None))


def test_swapped_each_row_is_of_the_others_coral() -> None:
    plot, rows = slipped()
    plot.rule("history", rows, "swap")
    settled = plot.settle()
    assert open_kinds(settled) == []
    assert (life(settled).settled.lost, life(settled, "102").settled.lost) == (Interval(31, 92), Interval(275, None))


def test_swapped_the_matter_stays_to_be_seen() -> None:
    plot, rows = slipped()
    ruling = plot.rule("history", rows, "swap")
    assert [matter.ruling for matter in asked(plot)] == [ruling]


def test_rows_that_stand_as_they_are_leave_the_odd_history_to_be_asked() -> None:
    plot, rows = slipped()
    plot.rule("history", rows, "stands")
    open_matters = [matter for matter in plot.settle().matters if matter.is_open]
    assert [matter.why.key for matter in open_matters] == ["settle.alive_after_dead"]


def test_taking_the_swap_back_gives_the_state_before_it() -> None:
    plot, rows = slipped()
    before = plot.settle()
    plot.rule("history", rows, "swap")
    plot.rulings.clear()
    assert plot.settle() == before


@pytest.mark.parametrize(
    ("first", "second", "why"),
    [
        (("alive", "30"), ("dead", None), "the size fits the coral as noted"),
        (("alive", "18"), ("alive", "15"), "with both alive there is nothing to exchange"),
        (("dead", None), ("missing", None), "nothing is odd"),
    ],
)
def test_it_is_not_asked_where_the_rows_say_otherwise(first: Any, second: Any, why: str) -> None:
    assert asked(slipped(first, second)[0]) == [], why


def test_it_is_not_asked_of_rows_that_are_no_neighbours_on_the_slate() -> None:
    plot, _ = slipped(lines=(4, 6))
    plot.see(plot.said[-1].session, "103", "alive", line="5")
    assert asked(plot) == []


def test_without_sizes_the_histories_alone_may_tell() -> None:
    assert len(asked(slipped(("alive", None))[0])) == 1


def test_two_sizes_that_are_odd_and_fit_exchanged_are_asked_too() -> None:
    plot = Plot(2)
    june, december = plot.dive("kai", JUNE), plot.dive("noa", DECEMBER)
    for tag, size in (("101", "10"), ("102", "40")):
        plot.see(june, tag, size_cm=size)
    rows = [plot.see(december, tag, size_cm=size) for tag, size in (("101", "44"), ("102", "13"))]
    assert [matter.of for matter in asked(plot)] == [tuple(sorted(rows))]


def test_it_is_not_asked_where_another_session_saw_the_coral_so_too() -> None:
    plot, _ = slipped()
    plot.see(plot.dive("mei", DECEMBER), "101", "alive", size_cm="18")
    assert asked(plot) == []


def test_it_is_not_asked_where_a_missing_coral_would_have_to_come_back() -> None:
    plot, _ = slipped()
    plot.see(plot.dive("mei", "2024-09-01"), "102", "missing")
    assert asked(plot) == []


def test_where_either_neighbour_may_have_slipped_nothing_tells() -> None:
    plot, _ = slipped(("alive", None), lines=(4, 5))
    plot.see(plot.said[-1].session, "103", "dead", line="3")
    assert asked(plot) == []


def test_a_matter_about_two_rows_names_both_corals() -> None:
    plot, _ = slipped()
    assert asked(plot)[0].corals == (name("coral", "101"), name("coral", "102"))
