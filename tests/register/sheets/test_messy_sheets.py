"""What eleven public data sets of outplanted corals did, done again by invented sheets; the figures come out right.

Each trap stands with what it did to a figure elsewhere; the sheets here are ours.
"""

from __future__ import annotations

from collections import defaultdict
from datetime import date
from typing import Any, Literal

import pytest
from openpyxl import Workbook
from openpyxl.styles import PatternFill

from fieldkit.protocol import Protocol
from fieldkit.register.sheets import Names, Taken, read_mapping, sheets_of, take_all
from fieldkit.settle.histories import Sighting, history
from fieldkit.survival import kaplan_meier
from tests.register.sheets.test_workbook_files import saved

HEAD = "site,plot,tag,planted_on,seen_on,status\n"


def survival(taken: Taken, treatment: Literal["lost", "open"] = "lost") -> float:
    """The share alive at the end, death dated when found."""
    days = {entry.session: entry.values.get("day") for entry in taken.entries if entry.kind == "session"}
    seen: dict[str, list[Sighting]] = defaultdict(list)
    for entry in taken.entries:
        if entry.kind == "observation" and "status" in entry.values:
            seen[entry.values["coral"]].append(Sighting(date.fromisoformat(days[entry.session]), entry.values["status"]))
    planted = {entry.values["coral"]: entry.values.get("planted_on") for entry in taken.entries if entry.kind == "coral"}
    found = [history(date.fromisoformat(day), seen[coral]) for coral, day in planted.items() if day]
    intervals = [interval for one in found if (interval := getattr(one, treatment)) is not None]
    ends = [interval.left if interval.right is None else interval.right for interval in intervals]
    return float(kaplan_meier(ends, [interval.right is not None for interval in intervals]).survival[-1])


def rows(tags: range, day: str, status: str, plot: str = "R1") -> str:
    return "".join(f"Outer,{plot},A{tag},2024-01-10,{day},{status}\n" for tag in tags)


def faults(taken: Taken) -> list[tuple[int, str, str]]:
    return [(one.row, one.column, one.fault.key.removeprefix("sheets.")) for one in taken.refused]


def asks(taken: Taken) -> list[tuple[str, tuple[int, ...]]]:
    return [(one.fault.key.removeprefix("sheets."), one.rows) for one in taken.asks]


# The traps that changed a figure.


def test_what_was_not_visited_is_never_read_as_dead(take_csv: Any) -> None:
    # 42.7 % was published where 70.9 % was true.
    sheet = (
        HEAD
        + rows(range(7), "2024-06-10", "alive")
        + rows(range(7, 10), "2024-06-10", "dead")
        + rows(range(10, 20), "2024-06-10", "")
    )
    assert survival(take_csv(sheet)) == pytest.approx(0.7)


def test_what_a_zero_means_is_said_for_its_column_and_else_makes_no_death(take_csv: Any) -> None:
    sheet = HEAD + rows(range(6), "2024-06-10", "1") + rows(range(6, 10), "2024-06-10", "0")
    taken = take_csv(sheet, '[status]\nalive = "1"\n')
    assert ({fault for _, _, fault in faults(taken)}, survival(taken)) == ({"status_unknown"}, 1.0)
    assert survival(take_csv(sheet, '[status]\nalive = "1"\ndead = "0"\n')) == pytest.approx(0.6)
    assert survival(take_csv(sheet, '[status]\nalive = "1"\nmissing = "0"\n'), "open") == 1.0
    assert survival(take_csv(sheet, '[status]\nalive = "0"\ndead = "1"\n')) == pytest.approx(0.4)


def test_missing_is_counted_as_lost_and_left_open_side_by_side(take_csv: Any) -> None:
    taken = take_csv(HEAD + rows(range(8), "2024-06-10", "alive") + rows(range(8, 10), "2024-06-10", "missing"))
    assert (survival(taken, "lost"), survival(taken, "open")) == (pytest.approx(0.8), 1.0)


def test_a_round_in_which_nearly_a_whole_plot_died_is_asked_about(take_csv: Any) -> None:
    # 241 of 249 "dead" in a last round: the plot had not been found.
    sheet = (
        HEAD
        + rows(range(10), "2024-06-10", "alive")
        + rows(range(1, 10), "2024-09-10", "dead")
        + rows(range(1), "2024-09-10", "alive")
    )
    assert asks(take_csv(sheet)) == [("ask_jump", tuple(range(12, 21)))]


def test_a_plot_that_was_said_not_to_be_found_moves_no_figure(take_csv: Any) -> None:
    sheet = HEAD + rows(range(10), "2024-06-10", "alive") + rows(range(10), "2024-09-10", "dead")
    assert survival(take_csv(sheet)) == 0.0
    assert survival(take_csv(sheet.replace("dead", "nf"), '[status]\nnot_searched = "nf"\n')) == 1.0


def test_dead_and_alive_again_is_alive_until_somebody_rules(take_csv: Any) -> None:
    # 154 of 162 deaths in one set: live tissue left blank had been read as dead.
    sheet = HEAD + rows(range(2), "2024-06-10", "dead") + rows(range(10), "2024-09-10", "alive")
    assert survival(take_csv(sheet)) == 1.0


def test_the_unit_is_the_coral_and_not_the_coral_month(take_csv: Any) -> None:
    # 13,530 rows and 621 "deaths" for 615 corals: the dead were noted again at every visit.
    months = "".join(rows(range(10), f"2024-0{month}-10", "alive") for month in (2, 3))
    later = [f"2024-0{month}-10" for month in (4, 5, 6)]
    again = "".join(rows(range(5), day, "dead") + rows(range(5, 10), day, "alive") for day in later)
    taken = take_csv(HEAD + months + again)
    assert (taken.corals, taken.observations, survival(taken)) == (10, 50, pytest.approx(0.5))


# Identity.


def test_tags_used_again_at_every_site_are_corals_of_their_own(take_csv: Any) -> None:
    sheet = "site,tag,seen_on,status\n" + "".join(f"{site},{tag},2024-06-10,alive\n" for site in "NSE" for tag in range(1, 31))
    assert take_csv(sheet).corals == 90


@pytest.mark.parametrize("other", ["P01", "P1.", "Р1", "Pl"])
def test_a_tag_that_may_be_another_is_asked_and_makes_no_second_coral(take_csv: Any, other: str) -> None:
    sheet = (
        "site,tag,seen_on,status\nOuter,P1,2024-03-10,alive\nOuter,P1,2024-06-10,alive\nOuter," + other + ",2024-09-10,dead\n"
    )
    taken = take_csv(sheet)
    assert (taken.corals, faults(taken), asks(taken)) == (1, [(4, "tag", "tag_alike")], [("ask_tag_alike", (4,))])
    assert take_csv(sheet, f'[same.tag]\nP1 = ["{other}"]\n').corals == 1
    assert take_csv(sheet, f'[same.tag]\n"{other}" = []\n').corals == 2


def test_letter_o_for_zero_is_the_same_question(take_csv: Any) -> None:
    sheet = "site,tag,seen_on,status\nOuter,B104,2024-03-10,alive\nOuter,B1O4,2024-06-10,alive\n"
    assert faults(take_csv(sheet)) == [(3, "tag", "tag_alike")]


def test_tags_that_look_alike_and_were_seen_on_one_day_are_two_corals(take_csv: Any) -> None:
    assert take_csv("site,tag,seen_on,status\nOuter,P1,2024-03-10,alive\nOuter,P01,2024-03-10,alive\n").corals == 2


def test_tags_that_differ_in_a_figure_are_two_corals(take_csv: Any) -> None:
    assert take_csv("site,tag,seen_on,status\nOuter,B11,2024-03-10,alive\nOuter,B17,2024-06-10,alive\n").corals == 2


def test_a_tag_of_the_base_that_was_typed_otherwise_is_asked(take_csv: Any, remembered: Any) -> None:
    known = remembered(take_csv("site,tag,seen_on,status\nOuter,B104,2024-03-10,alive\n").entries)
    again = take_csv("site,tag,seen_on,status\nOuter, b 104 ,2024-06-10,alive\nOuter,BI04,2024-09-10,alive\n", names=known)
    assert faults(again) == [(3, "tag", "tag_alike")]


def test_a_key_that_was_joined_from_other_columns_must_agree_with_them(take_csv: Any) -> None:
    # 249 rows in which the key and the columns it was made from differed.
    sheet = "site,tag,seen_on,status,key\nOuter,A1,2024-03-10,alive,outer_A1\nOuter,A2,2024-03-10,alive,Inner_A2\n"
    taken = take_csv(
        sheet, '[columns]\nsite="site"\ntag="tag"\nseen_on="seen_on"\nstatus="status"\n[joined]\nkey = "{site}_{tag}"\n'
    )
    assert faults(taken) == [(3, "key", "joined_otherwise")]


# Names.


@pytest.mark.parametrize(("one", "other"), [("Jon's Reef", "Jons"), ("Tamar Point", "Tamar Piont"), ("Outer", "Outer_old")])
def test_sites_that_may_be_one_are_asked_about(take_csv: Any, one: str, other: str) -> None:
    sheet = f"site,tag,seen_on,status\n{one},A1,2024-03-10,alive\n{one},A2,2024-03-10,alive\n{other},A3,2024-03-10,alive\n"
    assert asks(take_csv(sheet)) == [("ask_close_names", (4,))]
    settled = take_csv(sheet, f'[same.site]\n"{one}" = ["{other}"]\n')
    assert (asks(settled), sum(entry.kind == "site" for entry in settled.entries)) == ([], 1)


def test_plots_told_apart_by_number_are_not_asked_about(take_csv: Any) -> None:
    sheet = "site,plot,tag,seen_on,status\n" + "".join(f"Outer,Ring {n},A1,2024-03-10,alive\n" for n in range(1, 13))
    assert asks(take_csv(sheet)) == []


def test_blanks_and_case_make_no_other_site(take_csv: Any) -> None:
    sheet = "site,tag,seen_on,status\nB- Ford,A1,2024-03-10,alive\nB-Ford ,A2,2024-03-10,alive\nb-ford,A3,2024-03-10,alive\n"
    assert sum(entry.kind == "site" for entry in take_csv(sheet).entries) == 1


# Dates.


def test_a_stated_age_must_be_the_difference_of_the_days(take_csv: Any) -> None:
    sheet = "site,tag,planted_on,seen_on,age_days,status\n"
    sheet += "Outer,A1,2024-01-10,2024-02-09,30,alive\nOuter,A2,2024-01-10,2024-02-09,300,alive\n"
    assert faults(take_csv(sheet)) == [(3, "age_days", "age_otherwise")]


def test_a_day_split_over_three_cells_is_one(take_csv: Any) -> None:
    sheet = "site,tag,Day,Month,Year,status\nOuter,A1,9,Feb,2024,alive\nOuter,A2,,Feb,2024,alive\n"
    mapping = '[columns]\nsite="site"\ntag="tag"\nstatus="status"\nseen_on="Day + Month + Year"\n'
    days = [entry.values["day"] for entry in take_csv(sheet, mapping).entries if "day" in entry.values]
    assert days == ["2024-02-09", "2024-02-01"]


def test_a_day_after_the_file_was_saved_is_refused(monitoring: Protocol, remembered: type[Names]) -> None:
    # 695 rows were dated after the file itself.
    book = Workbook()
    tab = book.active
    assert tab is not None
    for row in (
        ["site", "tag", "seen_on", "status"],
        ["Outer", "A1", "2024-06-10", "alive"],
        ["Outer", "A2", "2062-06-10", "alive"],
    ):
        tab.append(row)
    (taken,) = take_all(
        sheets_of(saved(book), file="b.xlsx"), read_mapping(b""), remembered(), monitoring, today=date(2090, 1, 1)
    )
    assert faults(taken) == [(3, "seen_on", "day_in_future")]


# States and sizes.


def test_words_among_sizes_are_states_and_no_sizes(take_csv: Any) -> None:
    sheet = "site,tag,cm June\nOuter,A1,8.5\nOuter,A2,Dead \nOuter,A3,UK\nOuter,A4,NS\nOuter,A5,0\nOuter,A6,>1cm\n"
    mapping = (
        'layout="wide"\n[columns]\nsite="site"\ntag="tag"\n[status]\nalive=["{number}", "UK"]\ndead="dead"\nnot_searched="NS"\n'
        '[words.size_cm]\nnot_measured="UK"\n[[visit]]\nseen_on="2024-06-10"\ncolumns={status="cm June", size_cm="cm June"}\n'
    )
    taken = take_csv(sheet, mapping)
    seen = [(entry.values.get("status"), entry.values.get("size_cm")) for entry in taken.entries if entry.kind == "observation"]
    assert seen == [("alive", "8.5"), ("dead", None), ("alive", None), (None, None)]
    assert {row for row, _, _ in faults(taken)} == {6, 7}


@pytest.mark.parametrize("cell", ["92.0?", "9;5", "89.4cm", ">1cm"])
def test_a_size_that_is_no_number_refuses_its_row(take_csv: Any, cell: str) -> None:
    assert faults(take_csv(f"site,tag,seen_on,status,size_cm\nOuter,A1,2024-06-10,alive,{cell}\n")) == [
        (2, "size_cm", "no_number")
    ]


@pytest.mark.parametrize("note", ["gone; dead", "Gone?", "Deadish?", "50% dead"])
def test_a_state_that_stands_in_the_note_alone_is_nobodys_death(take_csv: Any, note: str) -> None:
    assert faults(take_csv(f"site,tag,seen_on,status,note\nOuter,A1,2024-06-10,,{note}\n")) == [
        (2, "note", "value_without_status")
    ]


def test_shares_among_per_cents_are_refused_and_a_column_of_shares_is_read(take_csv: Any) -> None:
    sheet = "site,tag,seen_on,status,live_tissue\nOuter,A1,2024-06-10,alive,0.85\nOuter,A2,2024-06-10,alive,90\n"
    assert faults(take_csv(sheet)) == [(2, "live_tissue", "share_among_percent")]
    shares = take_csv(sheet, 'fractions = ["live_tissue"]\n')
    assert [entry.values["live_tissue"] for entry in shares.entries if entry.kind == "observation"] == ["85"]
    assert faults(shares) == [(3, "live_tissue", "percent_among_shares")]


def test_places_that_were_never_planted_are_asked_about(take_csv: Any) -> None:
    sheet = HEAD + "".join(
        rows(range(3), f"2024-0{m}-10", "missing") + rows(range(3, 9), f"2024-0{m}-10", "alive") for m in (3, 6)
    )
    assert asks(take_csv(sheet)) == [("ask_never_alive", (2, 3, 4))]


# Layout.


def test_headings_spelt_in_several_ways_are_one_column(take_csv: Any) -> None:
    mapping = '[columns]\nsite="site"\ntag=["Tag", "Tagg", "Label"]\nseen_on="seen_on"\nstatus="status"\n'
    assert [
        take_csv(f"site,{head},seen_on,status\nOuter,A1,2024-06-10,alive\n", mapping).rows_taken for head in ("Tagg", "Label")
    ] == [1, 1]


def test_a_file_for_each_transect_names_it(take_csv: Any) -> None:
    taken = take_csv("tag,seen_on,status\nA1,2024-06-10,alive\n", '[constants]\nsite = "Outer"\nplot = "{file}"\n')
    assert [entry.values["name"] for entry in taken.entries if entry.kind == "plot"] == ["sheet"]


def book_of(tabs: dict[str, list[list[Any]]]) -> Workbook:
    book = Workbook()
    book.remove(book.worksheets[0])
    for name, cells in tabs.items():
        tab = book.create_sheet(name)
        for row in cells:
            tab.append(row)
    return book


def test_a_tab_for_each_site_is_taken_in_one_go(monitoring: Protocol, remembered: type[Names]) -> None:
    table = [["tag", "genotype", "seen_on", "status"], ["A1", "K7", "2024-06-10", "alive"]]
    sheets = sheets_of(saved(book_of({"North": table, "South": table})), file="b.xlsx", tabs=["*"])
    mapping = read_mapping(b'[constants]\nsite = "{tab}"\n')
    taken = take_all(sheets, mapping, remembered(), monitoring, today=date(2026, 1, 15))
    kinds = [entry.kind for one in taken for entry in one.entries]
    assert [kinds.count(kind) for kind in ("site", "coral", "genotype")] == [2, 2, 1]


def test_a_tab_whose_site_column_names_another_site_is_asked_about(monitoring: Protocol, remembered: type[Names]) -> None:
    head = ["site", "tag", "seen_on", "status"]
    body = saved(book_of({"North": [head, ["North", "A1", "2024-06-10", "alive"], ["South", "A2", "2024-06-10", "alive"]]}))
    (taken,) = take_all(sheets_of(body, file="b.xlsx"), read_mapping(b""), remembered(), monitoring, today=date(2026, 1, 15))
    assert asks(taken) == [("ask_other_site", (3,))]


def test_meaning_that_a_colour_carries_is_told_to_be_unread() -> None:
    book = book_of({"North": [["site", "tag"], ["North", "A1"], ["North", "A2"]]})
    for place in ("B2", "B3"):
        book.worksheets[0][place].fill = PatternFill("solid", fgColor="FF0000")
    (sheet,) = sheets_of(saved(book), file="b.xlsx")
    assert [fault.key for fault in sheet.remarks] == ["sheets.coloured_cells"]


def test_a_tab_that_is_formatted_over_16360_columns_is_read(monitoring: Protocol, remembered: type[Names]) -> None:
    book = book_of({"North": [["site", "tag", "seen_on", "status"], ["North", "A1", "2024-06-10", "alive"]]})
    book.worksheets[0].cell(1, 16_360).fill = PatternFill("solid", fgColor="FFFFFF")
    (taken,) = take_all(
        sheets_of(saved(book), file="b.xlsx"), read_mapping(b""), remembered(), monitoring, today=date(2026, 1, 15)
    )
    assert taken.rows_taken == 1


# Twenty-five kinds of defect in one sheet.

DEFECTS = {
    "site_missing": ",R1,A1,K7,2024-01-10,2024-06-10,,alive,,,,",
    "plot_missing": "Outer,,A2,K7,2024-01-10,2024-06-10,,alive,,,,",
    "no_identity": "Outer,R1,,K7,2024-01-10,2024-06-10,,alive,,,,",
    "name_turned_into_day": "Outer,R1,1-Jan,K7,2024-01-10,2024-06-10,,alive,,,,",
    "name_too_long": f"Outer,R1,{'A' * 201},K7,2024-01-10,2024-06-10,,alive,,,,",
    "no_value": "Outer,R1,A5,K7,2024-01-10,#REF!,,alive,,,,",
    "control_character": "Outer,R1,A6\x07,K7,2024-01-10,2024-06-10,,alive,,,,",
    "no_day": "Outer,R1,A7,K7,2024-01-10,soon,,alive,,,,",
    "day_not_in_calendar": "Outer,R1,A8,K7,2024-01-10,2024-06-31,,alive,,,,",
    "day_order_unknown": "Outer,R1,A9,K7,2024-01-10,05/06/2024,,alive,,,,",
    "day_number": "Outer,R1,A10,K7,2024-01-10,45453,,alive,,,,",
    "day_in_future": "Outer,R1,A11,K7,2024-01-10,2062-06-10,,alive,,,,",
    "day_long_ago": "Outer,R1,A12,K7,2024-01-10,1924-06-10,,alive,,,,",
    "day_missing": "Outer,R1,A13,K7,2024-01-10,,,alive,,,,",
    "before_planting": "Outer,R1,A14,K7,2024-01-10,2023-06-10,,alive,,,,",
    "age_otherwise": "Outer,R1,A15,K7,2024-01-10,2024-06-10,99,alive,,,,",
    "status_unknown": "Outer,R1,A16,K7,2024-01-10,2024-06-10,,gone?,,,,",
    "value_without_status": "Outer,R1,A17,K7,2024-01-10,2024-06-10,,,8,,,",
    "no_number": "Outer,R1,A18,K7,2024-01-10,2024-06-10,,alive,>8,,,",
    "other_decimal_mark": 'Outer,R1,A19,K7,2024-01-10,2024-06-10,,alive,"8,5",,,',
    "share_among_percent": "Outer,R1,A20,K7,2024-01-10,2024-06-10,,alive,,0.8,,",
    "word_unknown": "Outer,R1,A21,K7,2024-01-10,2024-06-10,,dead,,,hungry fish,",
    "round_unknown": "Outer,R1,A22,K7,2024-01-10,2024-06-10,,alive,,,,month 99",
    "contradicts": "Outer,R1,A0,K8,2024-01-10,2024-07-10,,alive,,,,",
    "tag_alike": "Outer,R1,AO,K7,2024-01-10,2024-08-10,,alive,,,,",
}


def test_a_sheet_with_25_kinds_of_defect_has_each_one_named_by_its_row(take_csv: Any) -> None:
    head = "site,plot,tag,genotype,planted_on,seen_on,age_days,status,size_cm,live_tissue,cause,round\n"
    sound = "Outer,R1,A0,K7,2024-01-10,2024-06-10,,alive,,,,\n"
    taken = take_csv(head + sound + "\n".join(DEFECTS.values()) + "\n")
    assert [(row, fault) for row, _, fault in faults(taken)] == list(enumerate(DEFECTS, 3))
    assert (len(DEFECTS), taken.rows_taken) == (25, 1)
