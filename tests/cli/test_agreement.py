"""`fieldkit agreement`: what it prints and what it refuses."""

from __future__ import annotations

from pathlib import Path

from tests.cli.terminal import typed


def test_each_field_that_two_people_noted_is_a_row(sample: Path) -> None:
    told = typed(sample, "agreement")
    assert (told.code, told.lines[0]) == (0, "280 doubles: each one coral, one visit, two recorders.")
    assert [line.split()[0] for line in told.lines if line.startswith(("status", "bleaching", "size_cm"))] == [
        "status",
        "bleaching",
        "size_cm",
    ]


def test_one_field_is_told_recorder_by_recorder(sample: Path) -> None:
    told = typed(sample, "agreement", "--field", "size_cm")
    assert [line.split("  ")[0] for line in told.lines] == ["Recorders", "KT RS", "MO RS", "Recorder", "KT", "MO", "RS"]


def test_an_unknown_field_is_refused_with_those_that_are_known(sample: Path) -> None:
    told = typed(sample, "agreement", "--field", "colour")
    assert told.code == 2 and "bleaching" in told.err


def test_the_json_holds_the_table_of_each_pair(sample: Path) -> None:
    found = typed(sample, "agreement", "--json").json
    status = next(one for one in found["fields"] if one["field"] == "status")
    pairs = {tuple(pair["recorders"]): pair for pair in status["pairs"]}
    assert set(pairs) == {("KT", "RS"), ("MO", "RS")}
    assert all(sum(map(sum, pair["table"])) == pair["n"] for pair in pairs.values())
