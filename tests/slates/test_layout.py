"""Slates on paper: what fits on a sheet, and that nothing lies over anything else."""

from __future__ import annotations

from itertools import combinations
from typing import Any

import pytest

from fieldkit.slates import PAPERS, sheets_needed
from fieldkit.slates.drawing import Printer
from fieldkit.slates.layout import MARGIN
from fieldkit.slates.marks import MM_PER_PT, Line, Page, Text
from tests.slates.printed import coral, made, pages, parts, ring, seen

EACH_PAPER = pytest.mark.parametrize("paper", PAPERS)
NOTE = {"plot-0": {"note": "Float gone; " * 30, "recorder": "KT", "day": "2026-06-01"}}
LAST = seen("missing", size_cm="134.5")
PLOTS: dict[str, dict[str, Any]] = {
    "bare": {"name": "P", "corals": [coral("B1")]},
    "ring": {"name": "P-07", "landmark": "the mooring", "distance_m": "7", "corals": ring(10)},
    "long": {
        "name": "The plot behind the third coral head on the left",
        "note": "Beware of fire coral. " * 8,
        "corals": [coral(f"AMUR-2024-{n:04}", position=f"row {n} of the left line", last=LAST) for n in range(37)],
    },
    "counted": {"name": "C", "recorded_as": "counted", "groups": [{"genotype": "g7", "planted": 100}]},
    "empty": {"name": "E", "corals": []},
}


def boxes(page: Page) -> list[tuple[float, float, float, float, str]]:
    """Where ink of each text may lie: from its x-height's top to where it stands, left to right, in mm."""
    with Printer(title="", language="en") as printer:
        return [_box(mark, printer.measure(mark.text, mark.size, mark.bold)) for mark in page.marks if isinstance(mark, Text)]


def _box(mark: Text, long: float) -> tuple[float, float, float, float, str]:
    high = mark.size * MM_PER_PT * 0.5
    if mark.turned:
        return mark.x - high, mark.y - long, mark.x, mark.y, mark.text
    return mark.x, mark.y - high, mark.x + long, mark.y, mark.text


@EACH_PAPER
@pytest.mark.parametrize("plot", PLOTS)
@pytest.mark.parametrize("language", ["en", "es"])
def test_no_text_lies_over_another_and_all_of_it_on_the_paper(paper: str, plot: str, language: str) -> None:
    for page in pages(made(PLOTS[plot], language=language, blind=False, notes=NOTE), paper):
        found = boxes(page)
        assert [
            one
            for one in found
            if min(one[:2]) < MARGIN - 1 or one[2] > page.width - MARGIN + 1 or one[3] > page.height - MARGIN + 1
        ] == []
        over = [
            (one[4], other[4])
            for one, other in combinations(found, 2)
            if one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
        ]
        assert over == []


@EACH_PAPER
@pytest.mark.parametrize("plot", PLOTS)
def test_lines_end_on_the_paper(paper: str, plot: str) -> None:
    for page in pages(made(PLOTS[plot], notes=NOTE), paper):
        lines = [mark for mark in page.marks if isinstance(mark, Line)]
        assert max(max(one.x1, one.x2) for one in lines) <= page.width - MARGIN + 0.01
        assert max(max(one.y1, one.y2) for one in lines) <= page.height - MARGIN + 0.01


@EACH_PAPER
def test_every_row_stands_on_exactly_one_sheet(paper: str) -> None:
    (slate,) = made(PLOTS["long"])
    assert [row for part in parts(slate, paper) for row in part if row.number] == list(slate.rows)


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_a_ring_of_ten_fits_on_one_sheet(paper: str) -> None:
    assert sheets_needed(made(PLOTS["ring"]), PAPERS[paper]) == [1]


def test_each_plot_begins_a_sheet_of_its_own() -> None:
    assert sheets_needed(made(PLOTS["bare"], PLOTS["bare"], PLOTS["bare"]), PAPERS["a4"]) == [1, 1, 1]


def test_room_that_is_left_is_for_corals_that_are_not_on_the_list() -> None:
    (slate,) = made(PLOTS["bare"])
    (rows,) = parts(slate, "a4")
    assert len(rows) > 5 and not any(row.number for row in rows[1:])
