"""Boat days as they came in: who handed in what, how much of it is here, and which plots are still out."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from fieldkit.reports.days import Came, Day, days
from tests.support.programme import Book, Reef, base_of, name

DAY = "2024-06-01"


def told(folder: Path, reef: Reef) -> list[Day]:
    base = base_of(folder / "base", reef.entries(), [reef.protocol])
    with base.view() as view:
        return days(view, base.photos)


def came(folder: Path, reef: Reef) -> Came:
    """The one session of the one day."""
    (day,) = told(folder, reef)
    (session,) = day.came
    return session


def out(reef: Reef, *plots: str, called: str = "boat day", **values: Any) -> None:
    """The lead wrote down what was taken out on the day."""
    said = {"boat_day": name(called), "day": DAY, "site": reef.site, "plots": [reef.plot(plot) for plot in plots], **values}
    reef.lead(called).say("boat_day", said)


def dive(reef: Reef, plot: str = "A", tag: str = "101", called: str = "kai", **values: Any) -> Book:
    book = reef.dive(called, DAY, **values)
    reef.see(book, tag, plot=plot)
    return book


def test_days_are_told_the_newest_first(tmp_path: Path) -> None:
    reef = Reef()
    for day in ("2024-06-01", "2024-12-01", "2024-09-01"):
        reef.see(reef.dive("kai", day), "101")
    assert [day.day for day in told(tmp_path, reef)] == ["2024-12-01", "2024-09-01", "2024-06-01"]


def test_a_session_is_told_with_who_noted_who_typed_and_what_it_saw(tmp_path: Path) -> None:
    reef = Reef()
    reef.see(dive(reef, typed_by="MO"), "201", plot="B")
    session = came(tmp_path, reef)
    assert (session.recorder, session.typed_by, session.plots, session.rows) == ("kai", "MO", ("A", "B"), 2)


def test_plots_that_were_taken_out_and_did_not_come_back_are_named(tmp_path: Path) -> None:
    reef = Reef()
    out(reef, "A", "B")
    dive(reef)
    assert [day.plots_out for day in told(tmp_path, reef)] == [("B",)]


def test_a_boat_day_of_which_nothing_came_back_is_told(tmp_path: Path) -> None:
    reef = Reef()
    out(reef, "A", "B")
    (day,) = told(tmp_path, reef)
    assert (day.day, day.site, day.came, day.plots_out) == (DAY, "Amo", (), ("A", "B"))


def test_practice_on_a_plot_brings_nothing_of_it_back(tmp_path: Path) -> None:
    reef = Reef()
    out(reef, "A")
    dive(reef, practice=True)
    assert [day.plots_out for day in told(tmp_path, reef)] == [("A",)]


def test_what_two_boats_took_out_to_one_site_is_one_day(tmp_path: Path) -> None:
    reef = Reef()
    out(reef, "A", sheets=["1"])
    out(reef, "B", called="other boat", sheets=["2"])
    (day,) = told(tmp_path, reef)
    assert day.plots_out == ("A", "B")
    assert sorted(day.taken_out["sheets"]) == ["1", "2"]


def test_crew_and_plots_are_told_by_their_names(tmp_path: Path) -> None:
    reef = Reef()
    reef.lead("people").say("person", {"person": name("kai"), "initials": "KA"})
    out(reef, "A", crew=[name("kai")])
    (day,) = told(tmp_path, reef)
    assert (day.taken_out["crew"], day.taken_out["plots"]) == (["KA"], ["A"])


def test_where_nobody_wrote_down_what_was_taken_out_nothing_is_said_of_it(tmp_path: Path) -> None:
    reef = Reef()
    dive(reef)
    (day,) = told(tmp_path, reef)
    assert (day.taken_out, day.plots_out) == ({}, ())


def closed(book: Book, n: int) -> Book:
    book.say("close", {"n": n, "sum": "0", "photos": 0})
    return book


def test_a_session_whose_entries_are_all_here_is_whole(tmp_path: Path) -> None:
    reef = Reef()
    closed(dive(reef), 2)
    session = came(tmp_path, reef)
    assert (session.held, session.promised, session.is_whole) == (3, 2, True)


def test_a_session_that_was_not_closed_is_not_whole(tmp_path: Path) -> None:
    reef = Reef()
    dive(reef)
    assert not came(tmp_path, reef).is_whole


def test_a_session_of_which_a_row_is_out_is_not_whole(tmp_path: Path) -> None:
    reef = Reef()
    book = dive(reef)
    reef.see(book, "102")
    closed(book, 3)
    del book.entries[1]
    session = came(tmp_path, reef)
    assert (session.rows, session.is_whole) == (1, False)


def test_a_correction_after_the_close_makes_up_for_no_row_that_is_out(tmp_path: Path) -> None:
    reef = Reef()
    book = dive(reef)
    second = reef.see(book, "102")
    closed(book, 3)
    book.say("observation", {**second.values, "note": "sure"}, [second.digest])
    del book.entries[1]
    assert not came(tmp_path, reef).is_whole


def test_photos_that_are_named_and_not_here_are_counted(tmp_path: Path) -> None:
    reef = Reef()
    book = dive(reef)
    book.say("photo", {"photo": "0" * 64, "bytes": 3, "type": "image/jpeg", "view": "slate"})
    closed(book, 3)
    session = came(tmp_path, reef)
    assert (session.photos, session.photos_out, session.is_whole) == (1, 1, False)


def test_corrected_rows_are_counted_once(tmp_path: Path) -> None:
    reef = Reef()
    book = reef.dive("kai", DAY)
    row = reef.see(book, "101")
    book.say("observation", {**row.values, "note": "again"}, [row.digest])
    assert came(tmp_path, reef).rows == 1


def test_open_matters_are_counted_by_the_sessions_that_have_a_part_in_them(tmp_path: Path) -> None:
    reef = Reef()
    for called, status in (("kai", "alive"), ("noa", "dead")):
        reef.see(reef.dive(called, DAY), "101", status)
    reef.see(reef.dive("mei", DAY), "102")
    (day,) = told(tmp_path, reef)
    assert {one.recorder: one.matters for one in day.came} == {"kai": 1, "noa": 1, "mei": 0}


def test_a_session_whose_day_a_lead_mended_stands_on_that_day(tmp_path: Path) -> None:
    reef = Reef()
    out(reef, "A")
    book = reef.dive("kai", "2023-06-01")
    reef.see(book, "101")
    reef.lead("lead").say("ruling", {"matter": "date", "of": [book.session], "answer": "day", "day": DAY})
    (day,) = told(tmp_path, reef)
    assert (day.day, day.plots_out) == (DAY, ())


def test_a_plot_that_came_back_with_corals_left_out_is_named_with_them(tmp_path: Path) -> None:
    reef = Reef()
    reef.see(dive(reef), "103")
    (day,) = told(tmp_path, reef)
    assert [(one.plot, one.expected, one.absent) for one in day.incomplete] == [("A", 3, ("102",))]


def test_a_coral_that_was_not_searched_for_has_its_row(tmp_path: Path) -> None:
    reef = Reef()
    book = dive(reef)
    reef.see(book, "102", None, searched="no")
    reef.see(book, "103")
    assert told(tmp_path, reef)[0].incomplete == ()


def test_rows_of_no_coral_yet_are_told_beside_the_corals_left_out(tmp_path: Path) -> None:
    reef = Reef()
    book = dive(reef)
    reef.see(book, "102")
    reef.see(book, "1O3")
    (one,) = told(tmp_path, reef)[0].incomplete
    assert (one.absent, one.unplaced) == (("103",), 1)


def test_what_was_dead_or_looked_for_in_vain_twice_is_not_expected(tmp_path: Path) -> None:
    reef = Reef()
    for day in ("2024-04-01", "2024-05-01"):
        book = reef.dive("kai", day)
        reef.see(book, "102", "missing")
        reef.see(book, "103", "dead")
    dive(reef)
    assert told(tmp_path, reef)[0].incomplete == ()


def test_what_practice_saw_leaves_a_plot_incomplete_to_nobody(tmp_path: Path) -> None:
    reef = Reef()
    dive(reef, practice=True)
    assert told(tmp_path, reef)[0].incomplete == ()


def test_each_sheet_of_a_plan_is_told_with_what_became_of_its_plot(tmp_path: Path) -> None:
    reef = Reef({"A": 1, "B": 2, "C": 1})
    out(reef, "A", "B", "C", sheets=["9", "10", "11"], sheet_plots=[reef.plot(plot) for plot in "ABC"])
    reef.see(dive(reef), "201", plot="B")  # A is whole, of B a coral was left out, C is out
    (day,) = told(tmp_path, reef)
    assert [(sheet.number, sheet.plot, day.state(sheet)) for sheet in day.sheets] == [
        ("9", "A", "in"),
        ("10", "B", "part"),
        ("11", "C", "out"),
    ]


def test_of_a_sheet_whose_plot_nobody_wrote_down_nothing_is_said(tmp_path: Path) -> None:
    reef = Reef()
    out(reef, "A", sheets=["7"])
    (day,) = told(tmp_path, reef)
    assert [day.state(sheet) for sheet in day.sheets] == ["unknown"]
