"""A real, published set of transplanted corals, taken in as anyone would take in theirs.

Source, licence (CC BY 4.0) and what was changed: tests/open_data/moorea/README.md. Its expected figures were worked out
with R's survival package and lifelines.
"""

from __future__ import annotations

import json
from collections import defaultdict
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from fieldkit.protocol import Protocol
from fieldkit.register.sheets import Names, Taken, read_mapping, read_sheet, sheet_of, take
from fieldkit.settle.histories import History, Sighting, history
from fieldkit.survival import Curve, kaplan_meier

FOLDER = Path(__file__).parents[2] / "open_data" / "moorea"
EXPECTED = json.loads((FOLDER / "expected.json").read_text())
TODAY = date(2026, 1, 15)


@pytest.fixture(scope="module")
def taken(monitoring: Protocol, remembered: type[Names]) -> Taken:
    mapping = read_mapping((FOLDER / "mapping.toml").read_bytes(), name="mapping.toml")
    return take(read_sheet(FOLDER / "readings.csv"), mapping, remembered(), monitoring, today=TODAY)


def test_every_row_of_the_published_set_is_taken(taken: Taken) -> None:
    assert (taken.rows_taken, taken.rows_refused, taken.observations) == (288, 0, 288)


def test_the_published_set_has_114_corals(taken: Taken) -> None:
    assert taken.corals == EXPECTED["findings"]["corals"] == sum(entry.kind == "coral" for entry in taken.entries)


def test_the_column_that_nobody_asked_for_is_named(taken: Taken) -> None:
    assert "1 column was not taken: group." in [left.text() for left in taken.left]


def test_one_coral_died(taken: Taken) -> None:
    assert sum(found.fate == "dead" for found in _histories(taken, "all")) == EXPECTED["findings"]["dead"]


@pytest.mark.parametrize("place", ["all", "Maatea", "Maharepa"])
def test_survival_of_the_published_set_is_that_of_two_other_programs(taken: Taken, place: str) -> None:
    # Twelve decimals are given; nothing but products of counts stands behind them.
    ages = EXPECTED[place]["at"]["age"]
    assert _curve(taken, place).at(ages) == pytest.approx(EXPECTED[place]["at"]["survival"], abs=1e-11)


def test_a_wrong_date_in_row_17_costs_that_row_alone(monitoring: Protocol, remembered: type[Names]) -> None:
    lines = (FOLDER / "readings.csv").read_text().splitlines(keepends=True)
    lines[16] = lines[16].replace(",2019-08-01,alive", ",2019-08-32,alive")
    mapping = read_mapping((FOLDER / "mapping.toml").read_bytes())
    spoilt = take(sheet_of("".join(lines).encode(), file="readings.csv"), mapping, remembered(), monitoring, today=TODAY)
    (refused,) = spoilt.refused
    assert (spoilt.rows_taken, refused.row, refused.column) == (287, 17, "visit_date")
    assert refused.text() == (
        "readings.csv, row 17, column “visit_date”, “2019-08-32”: there is no such day. Right is year-month-day, as in "
        "2025-04-03; for days written otherwise set date_order in the mapping file."
    )


def _histories(taken: Taken, place: str) -> list[History]:
    planted: dict[str, dict[str, Any]] = {}
    seen: dict[str, list[Sighting]] = defaultdict(list)
    sites = {entry.values["site"]: entry.values["name"] for entry in taken.entries if entry.kind == "site"}
    plots = {entry.values["plot"]: sites[entry.values["site"]] for entry in taken.entries if entry.kind == "plot"}
    days = {entry.session: entry.values.get("day") for entry in taken.entries if entry.kind == "session"}
    for entry in taken.entries:
        if entry.kind == "coral" and place in ("all", plots[entry.values["plot"]]):
            planted[entry.values["coral"]] = dict(entry.values)
        elif entry.kind == "observation":
            day = date.fromisoformat(days[entry.session])
            seen[entry.values["coral"]].append(Sighting(day, entry.values["status"]))
    return [history(date.fromisoformat(values["planted_on"]), seen[coral]) for coral, values in planted.items()]


def _curve(taken: Taken, place: str) -> Curve:
    intervals = [found.lost for found in _histories(taken, place) if found.lost is not None]
    died = [interval.right is not None for interval in intervals]
    return kaplan_meier([interval.left if interval.right is None else interval.right for interval in intervals], died)
