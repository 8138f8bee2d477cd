"""The printed slate, read and rendered by a program that is not ours: what a diver will have in hand."""

from __future__ import annotations

from datetime import date
from itertools import combinations, groupby, pairwise

import numpy as np
import pytest
import zxingcpp

from fieldkit.protocol import read_protocol
from fieldkit.slates import PAPERS
from tests.slates.printed import ADDRESS, CAUTIONS, DPI, Read, coral, made, ring, seen
from tests.support.programme import PROTOCOL_FILE

RENDERED = pytest.mark.parametrize("paper", ["a4", "letter-half"])  # a picture of each takes a second
EACH_PAPER = pytest.mark.parametrize("paper", PAPERS)
PLOT = {
    "name": "P-07",
    "landmark": "the mooring",
    "bearing_deg": "190",
    "distance_m": "7",
    "marker": "steel pin",
    "corals": ring(10),
}
NOTE = {"plot-0": {"note": "Float gone, look for the big brain coral.", "recorder": "KT", "day": "2026-06-01"}}
BACKS = ("a4-half", "letter-half")


def printed(paper: str = "a4", **asked: object) -> Read:
    return Read(made(PLOT, notes=NOTE, **asked), paper)  # type: ignore[arg-type]


def in_one_line(read: Read) -> str:
    return " ".join(" ".join(read.text(page).split()) for page in range(len(read)))


@EACH_PAPER
def test_a_sheet_has_the_size_of_its_paper_upright_or_lying(paper: str) -> None:
    size = PAPERS[paper]
    assert sorted(printed(paper).size_mm()) == pytest.approx(sorted((size.width, size.height)), abs=0.1)


@EACH_PAPER
def test_every_tag_and_genotype_can_be_found_as_text(paper: str) -> None:
    told = in_one_line(printed(paper))
    assert [one["tag"] for one in PLOT["corals"] if one["tag"] not in told] == []
    assert told.count("AMUR-07") == 10


@EACH_PAPER
def test_nothing_is_set_smaller_than_nine_points(paper: str) -> None:
    read = printed(paper)
    assert min(sign.size for page in range(len(read)) for sign in read.signs(page)) >= 9


@EACH_PAPER
def test_nothing_runs_off_the_paper(paper: str) -> None:
    """5 mm are what office printers leave white at the edge: common practice, no source."""
    read = printed(paper)
    for page in range(len(read)):
        width, height = read.size_mm(page)
        off = [s for s in read.signs(page) if s.left < 5 or s.top < 5 or s.right > width - 5 or s.foot > height - 5]
        assert off == []


@RENDERED
def test_boxes_are_high_enough_for_a_gloved_hand_in_print(paper: str) -> None:
    """8 mm and more between the lines of the picture, in the column at the right edge."""
    read = printed(paper)
    lines = read.lines_down(read.size_mm()[0] - 20)
    between = [below - above for above, below in pairwise(lines)]
    runs = [len(list(run)) for is_row, run in groupby(between, lambda height: 8 <= height < 10) if is_row]
    assert max(runs) >= 8  # ten corals in one line each, or four in two lines


@RENDERED
def test_the_code_on_the_picture_opens_the_plot_on_the_entry_page(paper: str) -> None:
    read = printed(paper)
    found = zxingcpp.read_barcodes(read.picture(1 if paper in BACKS else 0))
    assert [one.text for one in found] == [f"{ADDRESS}#new/plot-0"]


@EACH_PAPER
@pytest.mark.parametrize("language", ["en", "es"])
def test_the_cautions_stand_on_every_sheet(paper: str, language: str) -> None:
    read = printed(paper, language=language)
    fronts = range(0, len(read), 2 if paper in BACKS else 1)
    for page in fronts:
        told = " ".join(read.text(page).split())
        assert [caution for caution in CAUTIONS[language] if caution not in told] == []


@EACH_PAPER
def test_how_to_find_the_plot_is_told_with_the_last_divers_note(paper: str) -> None:
    told = in_one_line(printed(paper))
    assert "from the mooring, 190°, 7 m. Marker: steel pin." in told
    assert "“Float gone, look for the big brain coral.” (KT, 1 Jun 2026)" in told


def test_spanish_letters_arrive() -> None:
    told = in_one_line(printed(language="es"))
    assert "Peñón Ray Steps" in told and "Inmersión" in told and "Depredación" in told


def test_signs_that_divers_mistake_look_unlike() -> None:
    """In print, no two of them share more than 85 per cent of their ink. Chosen by us."""
    shapes = _shapes("0OD1Il7|")
    alike = {
        one + other: float((shapes[one] & shapes[other]).sum() / (shapes[one] | shapes[other]).sum())
        for one, other in combinations(shapes, 2)
    }
    assert {pair: share for pair, share in alike.items() if share > 0.85} == {}


def _shapes(signs: str) -> dict[str, np.ndarray]:
    """The dots of tags of one sign each, from the corner of their ink."""
    read = Read(made({"name": "-", "corals": [coral(sign) for sign in signs]}))
    dots, scale = np.asarray(read.picture()) < 128, DPI / 25.4
    found = {}
    for box in (one for one in read.signs() if one.size == 14 and one.text in signs):
        top, left = round(box.top * scale), round(box.left * scale)
        found[box.text] = np.zeros((60, 60), dtype=bool)
        ink = dots[top : round(box.foot * scale), left : round(box.right * scale)]
        found[box.text][: ink.shape[0], : ink.shape[1]] = ink
    assert set(found) == set(signs)
    return found


def test_a_field_added_to_the_protocol_is_a_column_more() -> None:
    more = """
[[field]]
name = "egg_masses"
of = "coral"
kind = "number"
unit = "1"
label = { en = "Egg masses", es = "Puestas" }
"""
    body = PROTOCOL_FILE.read_text("utf-8").replace("# --- Each genotype of a counted plot", f"{more}\n# ---", 1)
    longer = made(PLOT, protocol=read_protocol(body.encode(), name="longer.toml"))
    assert len(longer[0].boxes) == len(made(PLOT)[0].boxes) + 1
    assert "Egg masses" in in_one_line(Read(longer)) and "eg Egg masses" in in_one_line(Read(longer, "a4-half"))


def test_every_code_of_the_protocol_is_in_the_legend() -> None:
    read = printed()
    told = in_one_line(read)
    slate = made(PLOT)[0]
    assert [code for one in slate.legend for code in one.codes if code not in told] == []


def test_sheets_carry_the_numbers_they_are_given_and_a_blank_where_these_end() -> None:
    read = Read(made(PLOT, {"name": "P-08", "corals": ring(3)}), numbers=["14"])
    assert "Sheet 14" in read.text(0) and "Sheet" in read.text(1) and "Sheet 14" not in read.text(1)


def test_the_day_is_printed_where_it_is_known() -> None:
    assert "1 Dec 2026" in printed(day=date(2026, 12, 1)).text()


def test_what_was_seen_last_is_printed_only_where_it_may_be() -> None:
    plot = {"name": "P", "corals": [coral("B1", last=seen("alive", size_cm="34.5")), coral("B2", last=seen("missing"))]}
    assert "34.5 cm" in Read(made(plot, blind=False)).text()
    assert "34.5" not in Read(made(plot)).text()  # the protocol hides it
    assert "34.5" not in Read(made(plot, blind=True)).text()


def test_signs_that_the_type_has_not_are_told() -> None:
    assert Read(made({"name": "珊瑚", "corals": [coral("B1")]})).drawn.lacking == "珊瑚"
