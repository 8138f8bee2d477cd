"""A permit year in counts."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

import pytest

from fieldkit.base import View
from fieldkit.reports.errors import QuestionError
from fieldkit.reports.period import Counts, Period, period
from tests.reports.reef import Sites

START, END = date(2025, 1, 1), date(2025, 12, 31)


@pytest.fixture(scope="module")
def view(tmp_path_factory: pytest.TempPathFactory) -> Iterator[View]:
    """At site A eight corals, each with a fate of its own; at B a counted plot, and corals planted in the period."""
    sites = Sites()
    lost, dies, goes, lives, moves, _unseen, returns, late = sites.plant("A1", "G1", 8)
    sites.dive(
        "A", "2024-06-01", {lost: "dead", dies: "alive", goes: "alive", lives: "alive", returns: "missing", late: "alive"}
    )
    sites.dive("A", "2025-06-01", {lives: "alive", dies: "dead heat", goes: "missing", moves: "alive", returns: "alive"})
    sites.dive("A", "2026-02-01", {lives: "dead", late: "alive"})
    sites.withdraw(moves, "2025-07-01")
    sites.plant_counted("B1", "G2", 10)
    sites.count("B", "2024-06-01", "B1", "G2", 9, 1, 0)
    sites.count("B", "2025-06-01", "B1", "G2", 5, 3, 2)
    sites.plant("B2", "G1", 3, day="2025-03-01")
    with sites.base(tmp_path_factory.mktemp("period")).view() as opened:
        yield opened


def of(found: Period, site: str) -> Counts:
    return next(counts for counts in found.groups if counts.labels == {"site": site})


def test_each_coral_alive_at_the_start_is_in_one_column(view: View) -> None:
    assert of(period(view, START, END, ("site",)), "A") == Counts(
        {"site": "A"}, at_start=7, alive=2, dead=1, missing=1, withdrawn=1, not_seen=2, joined=0
    )


def test_a_counted_plot_counts_what_its_counts_fell_by(view: View) -> None:
    counts = of(period(view, START, END, ("site",)), "B")
    assert (counts.at_start, counts.alive, counts.dead, counts.missing) == (9, 5, 2, 2)


def test_corals_planted_in_the_period_stand_apart(view: View) -> None:
    assert of(period(view, START, END, ("site",)), "B").joined == 3


def test_columns_add_up_and_so_do_groups(view: View) -> None:
    found = period(view, START, END, ("site", "genotype"))
    for counts in (*found.groups, found.total):
        assert counts.at_start == counts.alive + counts.dead + counts.missing + counts.withdrawn + counts.not_seen
    assert found.total.at_start == sum(counts.at_start for counts in found.groups) == 16


def test_what_was_found_after_the_last_day_is_not_looked_at(view: View) -> None:
    later = period(view, START, date(2026, 12, 31), ("site",))
    assert of(period(view, START, END, ("site",)), "A").dead == 1
    assert of(later, "A").dead == 2


def test_a_coral_taken_away_before_the_start_is_not_counted(view: View) -> None:
    assert of(period(view, date(2025, 7, 2), END, ("site",)), "A").withdrawn == 0


def test_where_chooses_corals(view: View) -> None:
    assert period(view, START, END, where={"genotype": "g2"}).total.at_start == 9


def test_a_period_that_ends_before_it_begins_is_refused(view: View) -> None:
    with pytest.raises(QuestionError, match="2025-12-31 until 2025-01-01"):
        period(view, END, START)


def test_an_unknown_label_is_named(view: View) -> None:
    with pytest.raises(QuestionError, match="reef"):
        period(view, START, END, ("reef",))
