"""The layouts `one_row_per_coral`, `counts` and `wide`."""

from __future__ import annotations

from typing import Any

import pytest

from fieldkit.register.sheets import Taken

ONE_ROW = "site,tag,planted_on,last_alive,seen_on,status,size_cm\n"
COUNTS = "site,plot,genotype,planted_on,planted,seen_on,alive,dead,missing\n"
WIDE = """
    layout = "wide"
    [columns]
    site = "site"
    tag = "tag"
    planted_on = "planted"
    [[visit]]
    seen_on = "2025-04-10"
    columns = { status = "apr", size_cm = "cm_apr" }
    [[visit]]
    seen_on = "2025-10"
    columns = { status = "oct", size_cm = "cm_oct" }
    """


def values(taken: Taken, kind: str) -> list[dict[str, Any]]:
    return [dict(entry.values) for entry in taken.entries if entry.kind == kind]


def seen(taken: Taken) -> list[tuple[str, str | None]]:
    days = {entry.session: entry.values.get("day") for entry in taken.entries if entry.kind == "session"}
    return sorted((days[entry.session], entry.values.get("status")) for entry in taken.entries if entry.kind == "observation")


def refusals(taken: Taken) -> list[tuple[int, str, str]]:
    return [(one.row, one.column, one.fault.key.removeprefix("sheets.")) for one in taken.refused]


def test_one_row_gives_the_day_last_alive_and_the_present_state(take_csv: Any) -> None:
    taken = take_csv(ONE_ROW + "Outer,A1,2025-01-10,2025-04-10,2025-10-01,dead,\n")
    assert seen(taken) == [("2025-04-10", "alive"), ("2025-10-01", "dead")]


def test_last_alive_on_the_day_of_the_state_alive_is_one_observation(take_csv: Any) -> None:
    taken = take_csv(ONE_ROW + "Outer,A1,2025-01-10,2025-10-01,2025-10-01,alive,9\n")
    assert seen(taken) == [("2025-10-01", "alive")]


def test_last_alive_alone_is_an_observation(take_csv: Any) -> None:
    assert seen(take_csv(ONE_ROW + "Outer,A1,2025-01-10,2025-04-10,,,\n")) == [("2025-04-10", "alive")]


def test_last_alive_after_the_state_is_refused(take_csv: Any) -> None:
    taken = take_csv(ONE_ROW + "Outer,A1,2025-01-10,2025-11-01,2025-10-01,dead,\n")
    assert refusals(taken) == [(2, "last_alive", "alive_after_seen")]


def test_last_alive_before_the_planting_is_refused_by_its_own_column(take_csv: Any) -> None:
    taken = take_csv(ONE_ROW + "Outer,A1,2025-01-10,2024-11-01,2025-10-01,dead,\n")
    assert refusals(taken) == [(2, "last_alive", "before_planting")]


def test_a_list_of_plantings_makes_corals_and_no_observations(take_csv: Any) -> None:
    taken = take_csv("site,tag,planted_on,size_cm\nOuter,A1,2025-01-10,7.5\n")
    (coral,) = values(taken, "coral")
    assert (coral["size_cm"], taken.observations, taken.asks) == ("7.5", 0, ())


def test_a_coral_that_was_taken_away_keeps_the_day(take_csv: Any) -> None:
    taken = take_csv("site,tag,planted_on,withdrawn_on\nOuter,A1,2025-01-10,2025-06-01\n")
    assert values(taken, "coral")[0]["withdrawn_on"] == "2025-06-01"


def test_a_coral_taken_away_before_it_was_planted_is_refused(take_csv: Any) -> None:
    taken = take_csv("site,tag,planted_on,withdrawn_on\nOuter,A1,2025-01-10,2024-06-01\n")
    assert refusals(taken) == [(2, "withdrawn_on", "before_planting")]


def test_counts_make_a_counted_plot(take_csv: Any) -> None:
    taken = take_csv(COUNTS + "Outer,R1,K7,2025-01-10,10,2025-04-10,8,1,1\n")
    assert values(taken, "plot")[0]["recorded_as"] == "counted"


def test_counts_make_one_planting_a_group(take_csv: Any) -> None:
    rows = "Outer,R1,K7,2025-01-10,10,2025-04-10,8,1,1\nOuter,R1,K7,2025-01-10,,2025-10-01,7,,\n"
    (planting,) = values(take_csv(COUNTS + rows), "planting")
    assert (planting["count"], taken_days(take_csv(COUNTS + rows), "planting")) == ("10", ["2025-01-10"])


def test_counts_are_observations_of_their_genotype(take_csv: Any) -> None:
    taken = take_csv(COUNTS + "Outer,R1,K7,2025-01-10,10,2025-04-10,8,1,1\n")
    (counted,) = values(taken, "observation")
    assert {name: counted[name] for name in ("genotype", "alive", "dead", "missing")} == {
        "genotype": values(taken, "genotype")[0]["genotype"],
        "alive": "8",
        "dead": "1",
        "missing": "1",
    }


def test_a_count_that_was_not_taken_is_left_out_and_not_zero(take_csv: Any) -> None:
    taken = take_csv(COUNTS + "Outer,R1,K7,2025-01-10,10,2025-04-10,8,,\n")
    assert values(taken, "observation")[0].keys() & {"dead", "missing"} == set()


def test_a_row_without_counts_is_not_read(take_csv: Any) -> None:
    taken = take_csv(COUNTS + "Outer,R1,K7,2025-01-10,10,2025-04-10,,,\n")
    assert (taken.rows_taken, taken.observations) == (1, 0)


@pytest.mark.parametrize(
    ("row", "column", "fault"),
    [
        ("Outer,R1,,2025-01-10,10,2025-04-10,8,,", "genotype", "genotype_missing"),
        ("Outer,R1,?,2025-01-10,10,2025-04-10,8,,", "genotype", "genotype_missing"),
        ("Outer,R1,K7,,10,2025-04-10,8,,", "planted_on", "planting_day_missing"),
        ("Outer,R1,K7,2025-01-10,,2025-04-10,8,,", "planted", "planted_missing"),
        ("Outer,R1,K7,2025-01-10,10,2025-04-10,8.5,,", "alive", "no_count"),
        ("Outer,R1,K7,2025-01-10,10,,8,,", "seen_on", "day_missing"),
        ("Outer,R1,K7,2025-01-10,10,2024-04-10,8,,", "seen_on", "before_planting"),
    ],
)
def test_a_row_of_counts_is_refused_by_its_cell(take_csv: Any, row: str, column: str, fault: str) -> None:
    assert refusals(take_csv(COUNTS + row + "\n")) == [(2, column, fault)]


def test_nothing_is_planted_for_rows_that_were_refused(take_csv: Any) -> None:
    assert take_csv(COUNTS + "Outer,R1,K7,2025-01-10,,2025-04-10,8,,\n").entries == ()


def test_numbers_planted_that_differ_are_refused(take_csv: Any) -> None:
    rows = "Outer,R1,K7,2025-01-10,10,2025-04-10,8,1,1\nOuter,R1,K7,2025-01-10,12,2025-10-01,7,,\n"
    assert refusals(take_csv(COUNTS + rows)) == [(3, "planted", "contradicts")]


def test_visits_side_by_side_are_observations_of_their_days(take_csv: Any) -> None:
    taken = take_csv("site,tag,planted,apr,cm_apr,oct,cm_oct\nOuter,A1,2025-01-10,alive,9,dead,\n", WIDE)
    assert seen(taken) == [("2025-04-10", "alive"), ("2025-10-01", "dead")]


def test_a_visit_left_blank_is_not_read(take_csv: Any) -> None:
    taken = take_csv("site,tag,planted,apr,cm_apr,oct,cm_oct\nOuter,A1,2025-01-10,alive,9,,\n", WIDE)
    assert (seen(taken), [ask.column for ask in taken.asks]) == ([("2025-04-10", "alive")], ["oct"])


def test_a_fault_of_one_visit_is_told_by_its_own_column(take_csv: Any) -> None:
    taken = take_csv("site,tag,planted,apr,cm_apr,oct,cm_oct\nOuter,A1,2025-01-10,alive,9,alive,big\n", WIDE)
    assert (refusals(taken), taken.rows_taken) == ([(2, "cm_oct", "no_number")], 0)


def taken_days(taken: Taken, kind: str) -> list[str]:
    days = {entry.session: entry.values.get("day") for entry in taken.entries if entry.kind == "session"}
    return [str(days[entry.session]) for entry in taken.entries if entry.kind == kind]
