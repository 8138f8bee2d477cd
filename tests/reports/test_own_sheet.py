"""A programme's own spreadsheet given back: same columns, what was settled in them; and the programme made anew from it."""

from __future__ import annotations

import csv
import io
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook

from fieldkit.base import Base, import_sheets, mapping_of, monitoring_protocol
from fieldkit.register.sheets import Mapping
from fieldkit.reports.own_sheet import own_sheet, sheet_body
from tests.support.programme import Reef, base_of

TODAY = date(2026, 12, 1)
WIDE = b"""
layout = "wide"
date_order = "dmy"
decimal = ","
headings = ["Reef", "Ring", "Plate", "Clone", "Our own sum", "Put out", "June", "cm June"]
[columns]
site = "Reef"
plot = "Ring"
tag = "Plate"
genotype = "Clone"
planted_on = "Put out"
[status]
alive = ["V"]
dead = ["MU"]
[[visit]]
seen_on = "01/06/2024"
columns = { status = "June", size_cm = "cm June" }
"""
LONG = ("site", "plot", "position", "tag", "genotype", "species", "planted_on", "seen_on", "status", "size_cm")


@pytest.fixture
def reef(tmp_path: Path) -> Base:
    made = Reef({"A": 3})
    first, second = made.dive("KT", "2024-06-01"), made.dive("RS", "2024-06-01")
    made.see(first, "101", "alive", size_cm="12.5", note="=1+1")
    made.see(first, "102", "dead")
    made.see(first, "103", "alive")
    made.see(second, "103", "dead")
    base = base_of(tmp_path / "reef", made.entries(), [made.protocol])
    base.adopt(made.protocol)
    return base


def given_back(base: Base, mapping: Mapping) -> tuple[list[str], list[list[str]]]:
    with base.view() as view:
        return own_sheet(view, mapping, monitoring_protocol(base, view))


def test_a_sheet_comes_back_with_its_columns_words_and_days(reef: Base) -> None:
    headings, rows = given_back(reef, mapping_of(reef, WIDE, name="ours"))
    assert [headings, *rows] == [
        ["Reef", "Ring", "Plate", "Clone", "Our own sum", "Put out", "June", "cm June"],
        ["Amo", "A", "101", "G1", "", "01/03/2024", "V", "12,5"],
        ["Amo", "A", "102", "G1", "", "01/03/2024", "MU", ""],
        ["Amo", "A", "103", "G1", "", "01/03/2024", "", ""],  # in dispute
    ]


@pytest.mark.parametrize("as_workbook", [True, False])
def test_no_cell_of_it_is_a_formula(as_workbook: bool) -> None:
    body = sheet_body(["=A1", "tag"], [["=1+1", "@x"], ["-1", "-x"]], as_workbook=as_workbook)
    if as_workbook:
        cells = [cell for row in load_workbook(io.BytesIO(body)).worksheets[0].iter_rows() for cell in row]
        assert {cell.data_type for cell in cells} == {"s"}
    else:
        cells = [cell for row in csv.reader(io.StringIO(body.decode("utf-8-sig"))) for cell in row]
        assert cells == ["'=A1", "tag", "'=1+1", "'@x", "-1", "'-x"]


def test_the_sample_made_anew_from_its_plantings_and_sheet_is_in_the_same_state(sample: Path, tmp_path: Path) -> None:
    old = Base(sample)
    with old.view() as view:
        observed = {row.session for row in view.observations()}
        planted = [entry for entry in view.ledger.all() if entry.session not in observed and entry.kind != "ruling"]
        protocols = [old.protocol(str(said.get("digest"))) for said in view.things("protocol").values()]
        tags = [[str(tag) for tag, _, _ in coral["said"]["tags"]] for coral in view.corals()]
    headings, rows = given_back(old, Mapping(layout="long", columns={name: (name,) for name in LONG}))
    anew = base_of(tmp_path / "anew", planted, [one for one in protocols if one])
    # New tags were given on dives; whoever has the sheet alone is told so by nobody but the crew.
    same = {"tag": {first: tuple(later) for first, *later in filter(None, tags) if later}}
    body = sheet_body(headings, rows, as_workbook=False)
    (taken,) = import_sheets(anew, body, file="own.csv", mapping=Mapping(same=same), today=TODAY)
    assert (taken.rows_refused, taken.rows_taken) == (0, len(rows))
    assert states(anew) == states(old)


def states(base: Base) -> list[Any]:
    """Of every coral when it was planted, and what was settled of it and when."""
    with base.view() as view:
        settled = sorted((one["coral"], one["day"], one["state"]) for one in view.seen() if one["state"] is not None)
        return [settled, sorted((one["id"], one["planted_on"]) for one in view.corals())]
