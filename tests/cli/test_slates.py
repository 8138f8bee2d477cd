"""`fieldkit slates`: the PDF that it writes, and what it refuses."""

from __future__ import annotations

from pathlib import Path

import pypdfium2 as pdfium
import pytest

from fieldkit.base import Base, Statement
from tests.cli.terminal import typed
from tests.support.programme import name


def told_by(pdf: Path) -> list[str]:
    return [page.get_textpage().get_text_bounded() for page in pdfium.PdfDocument(pdf)]


def test_a_site_is_printed_plot_by_plot_and_dead_corals_are_left_off(reef: Path, tmp_path: Path) -> None:
    told = typed(reef, "slates", "--site", "amo", "--output", tmp_path / "out.pdf")
    assert (told.code, told.out) == (0, "out.pdf: 2 sheets, rows: 4, plots: 2.\n")
    first, second = told_by(tmp_path / "out.pdf")
    assert [tag for tag in ("101", "102", "103", "201") if tag in first] == ["101", "103"] and "201" in second


def test_one_plot_in_another_language_on_another_paper(reef: Path, tmp_path: Path) -> None:
    command = (
        "slates",
        "--site",
        "Amo",
        "--plot",
        "b",
        "--paper",
        "letter-half",
        "--lang",
        "es",
        "--output",
        tmp_path / "out.pdf",
    )
    assert typed(reef, *command, "--output", tmp_path / "out.pdf").out == "out.pdf: 1 sheet, rows: 2, plots: 1.\n"
    front, back = told_by(tmp_path / "out.pdf")
    assert "Hoja" in front and "Vivo" in back


@pytest.mark.parametrize(
    ("options", "near"),
    [(("--site", "Amoo"), "Amo"), (("--site", "Amo", "--plot", "C"), "A, B"), (("--site", "Amo", "--day", "1 Jun"), "1 Jun")],
)
def test_what_is_not_there_is_refused_with_what_is(reef: Path, tmp_path: Path, options: tuple[str, ...], near: str) -> None:
    told = typed(reef, "slates", *options, "--output", tmp_path / "out.pdf")
    assert told.code == 2 and near in told.err and not (tmp_path / "out.pdf").exists()


def test_a_planned_day_gives_its_plots_and_the_numbers_of_its_sheets(reef: Path, tmp_path: Path) -> None:
    said = {"boat_day": name("day"), "day": "2026-12-01", "site": name("site"), "plots": [name("plot", "B")]}
    Base(reef).say([Statement("boat_day", {**said, "crew": ["KT"], "sheets": ["41"]})])
    typed(reef, "slates", "--site", "Amo", "--day", "2026-12-01", "--output", tmp_path / "out.pdf")
    (sheet,) = told_by(tmp_path / "out.pdf")
    assert "Sheet 41" in sheet and "1 Dec 2026" in sheet


def test_what_was_seen_last_is_shown_where_it_is_asked_for(reef: Path, tmp_path: Path) -> None:
    typed(reef, "slates", "--site", "Amo", "--seen", "--output", tmp_path / "seen.pdf")
    typed(reef, "slates", "--site", "Amo", "--blind", "--output", tmp_path / "blind.pdf")
    seen, blind = (" ".join(told_by(tmp_path / f"{one}.pdf")) for one in ("seen", "blind"))
    assert "not visited yet" in seen and "not visited yet" not in blind


def test_signs_that_cannot_be_printed_are_told(reef: Path, tmp_path: Path) -> None:
    Base(reef).say(
        [Statement("plot", {"plot": name("plot", "X"), "site": name("site"), "name": "珊", "recorded_as": "tagged"})]
    )
    planting = {"coral": name("coral", "x"), "plot": name("plot", "X"), "position": "1", "planted_on": "2024-03-01"}
    Base(reef).say([Statement("coral", planting)])
    assert "珊" in typed(reef, "slates", "--site", "Amo", "--output", tmp_path / "out.pdf").err
