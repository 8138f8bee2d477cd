"""The cases of `tests/cases/histories`, driven through a real base: entries, fold, the coral's row, the columns of figures."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from fieldkit.base import Base, View
from fieldkit.reports.columns import Columns, columns
from tests.support.programme import Book, Reef, base_of, name

CASES = [
    case
    for file in sorted((Path(__file__).parents[1] / "cases" / "histories").glob("*.json"))
    for case in json.loads(file.read_text("utf-8"))
]
AS_OF = sorted({case["as_of"] for case in CASES if "as_of" in case})


def said(case: dict[str, Any]) -> Iterator[Book]:
    """The sessions of a case: its coral, in a plot of its own, and each sighting as a visit of its own."""
    called = case["name"]
    coral = name("coral", called)
    register = Book(f"register {called}", role="lead")
    register.say("plot", {"plot": name("plot", called), "site": name("site"), "name": called, "recorded_as": "tagged"})
    days = {key: case[key] for key in ("planted_on", "withdrawn_on", "known_from") if case.get(key)}
    register.say("coral", {"coral": coral, "plot": name("plot", called), **days})
    yield register
    for i, (day, state) in enumerate(case["sightings"]):
        dive = REEF.dive(f"{called} {i}", day, visit=f"{called} {i}")
        dive.say("observation", {"row": name("row", called, i), "plot": name("plot", called), "coral": coral, "status": state})
        yield dive


REEF = Reef()


@pytest.fixture(scope="module")
def view(tmp_path_factory: pytest.TempPathFactory) -> Iterator[View]:
    """A base that was handed all the cases."""
    sessions = [session for case in CASES for session in said(case)]
    entries = [entry for session in (REEF.books[0], *sessions) for entry in session.entries]
    base: Base = base_of(tmp_path_factory.mktemp("base") / "cases", entries, [REEF.protocol])
    with base.view() as opened:
        yield opened


@pytest.fixture(scope="module")
def told(view: View) -> dict[str | None, Columns]:
    """The columns as of each day that a case asks for, and as kept."""
    return {as_of: columns(view, as_of=date.fromisoformat(as_of) if as_of else None) for as_of in (None, *AS_OF)}


def row_of(view: View, case: dict[str, Any]) -> dict[str, Any]:
    (row,) = view.corals([name("coral", case["name"])])
    return row


@pytest.mark.parametrize("case", [case for case in CASES if "as_of" not in case], ids=lambda case: case["name"])
def test_the_row_of_a_coral_holds_the_history_of_the_case(case: dict[str, Any], view: View) -> None:
    row = row_of(view, case)
    intervals = [[row["left"], row[treatment]] if row["left"] is not None else None for treatment in ("lost", "open")]
    assert intervals == [case["lost"], case["open"]]
    assert (row["left_out"], row["entry"], row["fate"]) == (case["left_out"], case["entry"], case["fate"])


@pytest.mark.parametrize("case", [case for case in CASES if "as_of" not in case], ids=lambda case: case["name"])
def test_each_finding_of_a_case_is_told_and_asked_about(case: dict[str, Any], view: View) -> None:
    findings = row_of(view, case)["said"]["findings"]
    asked = [m for m in view.matters() if m.kind == "history" and name("coral", case["name"]) in m.corals]
    assert sorted(findings) == sorted(case["findings"])
    assert {days for _, days in ((m.why.key, m.why.data["days"]) for m in asked)} == {
        ", ".join(days) for _, days in case["findings"]
    }


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["name"])
def test_the_columns_hold_the_intervals_of_the_case(case: dict[str, Any], told: dict[str | None, Columns]) -> None:
    found = told[case.get("as_of")]
    (subject,) = [i for i, plot in enumerate(found.labels["plot"].tolist()) if plot == f"Amo {case['name']}"]
    for treatment in ("lost", "open"):
        rows = found.rows[treatment, "settled"]
        mine = rows.subject == subject
        given = [
            [left, None if right == float("inf") else right]
            for left, right in zip(rows.left[mine], rows.right[mine], strict=True)
        ]
        assert given == ([case[treatment]] if case[treatment] else [])


def test_the_fates_of_all_corals_add_up(told: dict[str | None, Columns]) -> None:
    assert sum(told[None].fates.values()) == len(CASES)


def test_corals_that_were_not_planted_by_the_as_of_day_have_no_fate(told: dict[str | None, Columns]) -> None:
    for found in told.values():
        assert sum(found.fates.values()) + found.left_out.get("planted_later", 0) == len(CASES)


def test_every_reason_for_leaving_out_is_met(told: dict[str | None, Columns]) -> None:
    assert {why for found in told.values() for why in found.left_out} == {"no_planting_day", "planted_later", "known_later"}
