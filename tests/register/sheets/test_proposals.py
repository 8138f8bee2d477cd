"""A mapping proposed from what a sheet holds: right where the data prove it, open where they do not."""

from __future__ import annotations

from typing import Any

import pytest

from fieldkit.protocol import Protocol
from fieldkit.register.sheets import Mapping, Proposal, propose, read_mapping, sheet_of, written_mapping

WIDE = (
    "Reef monitoring,,,,,,\n,,,12/06/2024,,15/09/2024,\n"
    "Arrecife,Placa,Fecha de trasplante,Estado,Talla (cm),Estado,Talla (cm)\n"
    'Tamar Point,A101,25/03/2024,V,"8,5",V,9\nTamar Point,A102,25/03/2024,V,7,MU,\nTamar Point,A103,25/03/2024,V,NA,V,4\n'
)


@pytest.fixture(scope="module")
def proposed(monitoring: Protocol) -> Any:
    return lambda text: propose(sheet_of(text.encode(), file="sheet.csv"), monitoring)


def asked(found: Proposal) -> list[str]:
    return [fault.key.removeprefix("sheets.") for fault in found.open]


def columns(found: Proposal) -> dict[str, str]:
    return {name: texts[0] for name, texts in found.mapping.columns.items()}


def test_headings_of_a_crew_are_recognised_in_both_languages(proposed: Any) -> None:
    found = proposed("Reef,Placa,Survey date,Condición,Diameter (cm)\nOuter,A1,2024-06-15,dead,\nOuter,A2,2024-06-15,ok,7\n")
    assert columns(found) == {
        **{"site": "Reef", "tag": "Placa", "seen_on": "Survey date"},
        **{"status": "Condición", "size_cm": "Diameter (cm)"},
    }


def test_a_heading_is_not_believed_where_the_cells_hold_something_else(proposed: Any) -> None:
    found = proposed("site,tag,date,status\nOuter,A1,next week,alive\nOuter,A2,soon,alive\n")
    assert "seen_on" not in found.mapping.columns


def test_a_day_of_one_reading_tells_the_order_of_all(proposed: Any) -> None:
    found = proposed("site,tag,date,status\nOuter,A1,05/06/2024,alive\nOuter,A2,25/06/2024,alive\n")
    assert (found.mapping.date_order, asked(found)) == ("dmy", [])


def test_days_that_prove_no_order_are_asked(proposed: Any) -> None:
    found = proposed("site,tag,date,status\nOuter,A1,05/06/2024,alive\n")
    assert (found.mapping.date_order, asked(found)) == (None, ["open_order"])


def test_days_that_prove_both_orders_are_asked_and_not_guessed(proposed: Any) -> None:
    found = proposed("site,tag,date,status\nOuter,A1,25/06/2024,alive\nOuter,A2,06/25/2024,alive\n")
    assert (found.mapping.date_order, asked(found)) == (None, ["open_mixed_order"])


@pytest.mark.parametrize("word", ["0", "1", "X", "Gone?", "50% dead"])
def test_what_a_code_means_is_asked(proposed: Any, word: str) -> None:
    assert asked(proposed(f"site,tag,seen_on,status\nOuter,A1,2024-06-15,alive\nOuter,A2,2024-06-15,{word}\n")) == [
        "open_status"
    ]


def test_visits_below_merged_headings_are_told_apart(proposed: Any) -> None:
    found = proposed(WIDE)
    assert [(visit.seen_on, visit.columns["status"]) for visit in found.mapping.visits] == [
        ("12/06/2024", "12/06/2024 / Estado"),
        ("15/09/2024", "15/09/2024 / Estado"),
    ]


def test_a_visit_whose_day_stands_in_a_column_needs_none(proposed: Any) -> None:
    found = proposed("site,tag,Date 1,Status 1,Date 2,Status 2\nOuter,A1,2024-06-15,ok,2024-09-15,dead\n")
    assert [visit.columns.get("seen_on") for visit in found.mapping.visits] == ["Date 1", "Date 2"]


def test_sizes_with_words_among_them_hold_the_state_too(proposed: Any) -> None:
    found = proposed("site,tag,cm 2024-06,cm 2024-09\nOuter,A1,8,dead\nOuter,A2,7,9\nOuter,A3,7,0\n")
    assert ([visit.columns["status"] for visit in found.mapping.visits], found.mapping.status, asked(found)) == (
        ["cm 2024-06", "cm 2024-09"],
        {"dead": ("dead",), "alive": ("{number}",)},
        ["open_status"],  # the 0
    )


def test_a_proposal_written_and_read_is_the_same(proposed: Any) -> None:
    found = proposed(WIDE)
    text = written_mapping(found.mapping, remarks=["Look\nit through"], examples={"Placa": 'A101 · "B"\n'})
    assert read_mapping(text.encode()) == found.mapping


def test_a_proposed_mapping_with_its_answers_takes_the_sheet(proposed: Any, take_csv: Any) -> None:
    text = written_mapping(proposed(WIDE).mapping) + '[status]\nalive = ["V"]\ndead = ["MU"]\n'
    taken = take_csv(WIDE, text)
    assert (taken.rows_taken, taken.rows_refused, taken.observations) == (3, 0, 6)


def test_any_text_in_a_mapping_survives_being_written(monitoring: Protocol) -> None:
    odd = 'a "b" \\ \x7f é 🐚 = [x] # y'
    mapping = Mapping(columns={"tag": (odd, "B")}, status={"dead": (odd,)}, same={"tag": {odd: ("A",)}}, joined={odd: "{tag}"})
    assert read_mapping(written_mapping(mapping).encode()) == mapping
