"""Behind every figure stand its corals: as many as it says, each with its place, its interval, and why it is left out."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from fieldkit.base import Base, View
from fieldkit.reports.behind import FATES, Part, behind
from fieldkit.reports.causes import causes
from fieldkit.reports.columns import columns
from fieldkit.reports.period import period
from fieldkit.reports.question import Question
from fieldkit.reports.tables import behind_csv
from tests.reports.reef import Sites
from tests.support.programme import Book, Reef, base_of


@pytest.fixture(scope="module")
def programme(sample: Path) -> Iterator[View]:
    with Base(sample).view() as view:
        yield view


@pytest.mark.parametrize("as_of", [None, date(2026, 1, 1)])
@pytest.mark.parametrize("fate", FATES)
def test_as_many_stand_behind_a_fate_as_it_says(programme: View, fate: str, as_of: date | None) -> None:
    listed = behind(programme, Question(as_of=as_of), Part(fate=fate))
    assert listed.corals == sum(row.corals for row in listed.rows) == columns(programme, as_of=as_of).fates.get(fate, 0)


@pytest.mark.parametrize(
    "where", [{}, {"site": "ray steps"}, {"genotype": "AMUR-04"}, {"site": "Ray Steps", "method": "epoxy"}]
)
def test_the_corals_of_a_group_are_those_that_its_figures_are_of(programme: View, where: dict[str, str]) -> None:
    found, listed = columns(programme, where=where), behind(programme, Question(where=where))
    assert listed.corals == sum(found.fates.values())
    known = Counter((row.alive, row.lost) for row in listed.rows if row.tag and row.alive is not None)
    rows = found.rows["lost", "settled"]
    whole = rows.weight == 1
    ends = [None if right == float("inf") else int(right) for right in rows.right[whole].tolist()]
    made = Counter(zip(map(int, rows.left[whole].tolist()), ends, strict=True))
    assert known <= made


def test_those_in_dispute_can_be_seen(programme: View) -> None:
    listed = behind(programme, part=Part(unsettled=True))
    assert listed.corals == columns(programme).unsettled == 10 and all(row.disputed for row in listed.rows)


def test_a_list_goes_by_plot_and_tag_with_numbers_by_their_size(tmp_path: Path) -> None:
    made = Reef({"A": 0})
    book = Book("more", role="lead", site=made.site, day="2024-03-01")
    for tag in ("T10", "T9", "T100"):
        book.say("planting", {"row": made.coral(tag), "plot": made.plot("A"), "tag": tag, "position": tag})
    with base_of(tmp_path / "base", [*made.entries(), *book.entries]).view() as view:
        assert [row.tag for row in behind(view).rows] == ["T9", "T10", "T100"]


def test_a_page_of_the_list_is_a_part_of_it(programme: View) -> None:
    whole = behind(programme).rows
    assert behind(programme, first=100, most=50).rows == whole[100:150]


def left_out() -> Reef:
    """Position 900 has no planting day; 901 was planted late; 902 is followed from an age of 100 days on."""
    made = Reef({"A": 1})
    register = made.lead("lead")
    for tag, days in (
        ("900", {}),
        ("901", {"planted_on": "2025-06-01"}),
        ("902", {"planted_on": "2024-03-01", "known_from": "2024-06-09"}),
    ):
        register.say("coral", {"coral": made.coral(tag), "plot": made.plot("A"), "position": tag, **days})
    return made


@pytest.mark.parametrize(("why", "tag"), [("no_planting_day", "900"), ("planted_later", "901"), ("known_later", "902")])
def test_a_coral_that_is_left_out_says_why(tmp_path: Path, why: str, tag: str) -> None:
    with base_of(tmp_path / "base", left_out().entries()).view() as view:
        (row,) = behind(view, Question(as_of=date(2025, 1, 1)), Part(why=why)).rows
    assert (row.position, row.left_out) == (tag, why)


def test_what_is_left_out_is_told_of_the_corals_asked_about_alone(tmp_path: Path) -> None:
    with base_of(tmp_path / "base", left_out().entries()).view() as view:
        told = [causes(view, Question(where={"plot": plot})).left_out["no_planting_day"] for plot in ("Amo A", "Amo B")]
        since = [
            period(view, date(2024, 4, 1), date(2025, 1, 1), where={"plot": plot}).left_out["no_planting_day"]
            for plot in ("Amo A", "Amo B")
        ]
    assert told == since == [1, 0]


def test_an_interval_is_told_in_days_since_planting_for_both_treatments(tmp_path: Path) -> None:
    made = Reef({"A": 2})
    for day, states in (("2024-05-30", ("alive", "alive")), ("2024-08-28", ("dead", "missing"))):
        for tag, status in zip(("101", "102"), states, strict=True):
            made.see(made.dive(tag, day), tag, status)
    with base_of(tmp_path / "base", made.entries(), [made.protocol]).view() as view:
        told = [(row.tag, row.alive, row.lost, row.dead, row.fate) for row in behind(view).rows]
    assert told == [("101", 90, 180, 180, "dead"), ("102", 90, 180, None, "missing")]


def test_corals_of_a_counted_plot_stand_in_one_row_and_count_as_many_as_they_are(tmp_path: Path) -> None:
    made = Sites()
    made.plant_counted("A1", "G1", 10)
    made.count("A", "2024-06-01", "A1", "G1", alive=7, dead=2, missing=1)
    with made.base(tmp_path).view() as view:
        (row,) = behind(view).rows
        assert (row.coral, row.tag, row.corals, row.alive) == (None, None, 10, None)
        assert [behind(view, part=Part(fate=fate)).corals for fate in ("alive", "dead", "missing")] == [7, 2, 1]


def test_those_alive_on_a_day_are_those_not_known_to_be_lost_by_then(tmp_path: Path) -> None:
    made = Reef({"A": 2})
    made.see(made.dive("KT", "2024-06-01"), "101", "dead")
    with base_of(tmp_path / "base", made.entries(), [made.protocol]).view() as view:
        listed: list[Any] = [
            [row.tag for row in behind(view, part=Part(since=day)).rows] for day in (date(2024, 4, 1), date(2024, 7, 1))
        ]
    assert listed == [["101", "102"], ["102"]]


def test_the_list_as_csv_has_every_coral_and_no_formula(tmp_path: Path) -> None:
    made = Reef({"=1+1": 2})
    with base_of(tmp_path / "base", made.entries()).view() as view:
        rows = list(csv.DictReader(io.StringIO(behind_csv(behind(view)), newline="")))
    assert [row["tag"] for row in rows] == ["101", "102"] and {row["plot"] for row in rows} == {"Amo =1+1"}
