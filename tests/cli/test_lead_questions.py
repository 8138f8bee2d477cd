"""`fieldkit ranking`, `causes`, `period`, `effort`: what a lead asks beyond the curve, for people and for programs."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import pytest

from tests.cli.terminal import typed

ASKED = {
    "ranking": ["ranking"],
    "causes": ["causes", "--by", "site"],
    "period": ["period", "--from", "2025-11-01", "--until", "2026-10-31", "--by", "site"],
    "effort": ["effort", "--difference", "0.2", "--by", "genotype"],
}
WRONG = {
    "a period backwards": (["period", "--from", "2026-01-01", "--until", "2025-01-01"], ["2026-01-01", "2025-01-01"]),
    "a period without an end": (["period", "--from", "2026-01-01"], ["--until"]),
    "a difference in points": (["effort", "--difference", "20"], ["20", "between 0 and 1"]),
    "no difference": (["effort"], ["--difference"]),
    "a power of more than all": (["effort", "--difference", "0.2", "--power", "80"], ["80"]),
    "an age of nothing": (["effort", "--difference", "0.2", "--at", "0"], ["above 0"]),
    "a ranking of sites": (["ranking", "--by", "site"], ["'site'", "genotype"]),
    "a site that is nowhere": (["causes", "--where", "site=Rey Steps"], ["“Rey Steps”", "Ray Steps"]),
    "a label to choose by": (
        ["period", "--from", "2025-01-01", "--until", "2026-01-01", "--where", "colour=red"],
        ["“colour”"],
    ),
    "two forms": (["causes", "--csv", "--json"], ["--csv", "--json"]),
    "a level in per cent": (["ranking", "--level", "95"], ["95", "0.95"]),
}


@pytest.mark.parametrize("what", WRONG)
def test_a_wrong_question_is_told_what_would_be_right(sample: Path, what: str) -> None:
    arguments, words = WRONG[what]
    told = typed(sample, *arguments)
    assert (told.code, told.out, [word for word in words if word not in told.err]) == (2, "", [])


def rows(sample: Path, *arguments: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(typed(sample, *arguments, "--csv").out, newline="")))


def answer(sample: Path, name: str) -> Any:
    return typed(sample, *ASKED[name], "--json").json


def test_the_ranking_as_csv_says_what_json_says(sample: Path) -> None:
    told = [
        (place["label"], treatment, place["rank"], place["ratio"])
        for treatment in ("missing_lost", "missing_open")
        for place in answer(sample, "ranking")[treatment]["places"]
    ]
    names = ("genotype", "treatment", "rank", "ratio")
    assert [tuple(row[name] for name in names) for row in rows(sample, "ranking")] == [tuple(map(str, one)) for one in told]


def test_every_pair_is_in_the_table_of_pairs(sample: Path) -> None:
    told = {tuple(pair["of"]): pair["verdict"] for pair in answer(sample, "ranking")["missing_lost"]["pairs"]}
    found = [row for row in rows(sample, "ranking", "--pairs") if row["treatment"] == "missing_lost"]
    assert len(told) == 66 and {(row["one"], row["other"]): row["verdict"] for row in found} == told


def test_a_sentence_is_said_of_every_pair(sample: Path) -> None:
    assert len(typed(sample, "ranking", "--pairs").lines) == 66


def test_the_causes_as_csv_say_what_json_says(sample: Path) -> None:
    told = {
        (group["group"]["site"], treatment, str(at["age"]), cause): str(share["share"])
        for group in answer(sample, "causes")["groups"]
        for treatment in ("missing_lost", "missing_open")
        for at in group[treatment]["at"]
        for cause, share in at["causes"].items()
    }
    names = ("site", "treatment", "age_days", "cause")
    assert {tuple(row[name] for name in names): row["share"] for row in rows(sample, *ASKED["causes"])} == told


def test_dated_by_rounds_or_when_found_gives_different_shares(sample: Path) -> None:
    by_round, found = (typed(sample, "causes", "--dated", how, "--json").json for how in ("round", "found"))
    assert (by_round["dated"], found["dated"]) == ("round", "found") and by_round["groups"] != found["groups"]


def test_the_columns_of_a_period_add_up_to_those_alive_at_its_start(sample: Path) -> None:
    counted = ("alive", "dead", "missing", "withdrawn", "not_seen")
    found = rows(sample, *ASKED["period"])
    assert len(found) == 4 and all(sum(int(row[name]) for name in counted) == int(row["at_start"]) for row in found)


def test_all_corals_stand_below_the_groups_of_a_period(sample: Path) -> None:
    total = answer(sample, "period")["total"]
    line = next(line for line in typed(sample, *ASKED["period"]).lines if line.startswith("all "))
    assert line.split()[1:3] == [str(total["at_start"]), str(total["alive"])]


def test_the_effort_as_csv_says_what_json_says(sample: Path) -> None:
    told = [
        (need["group"]["genotype"], treatment, str(need["more_corals"]), str(need["more_plots"]))
        for treatment in ("missing_lost", "missing_open")
        for need in answer(sample, "effort")[treatment]["groups"]
    ]
    names = ("genotype", "treatment", "more_corals", "more_plots")
    assert [tuple(row[name] for name in names) for row in rows(sample, *ASKED["effort"])] == told


@pytest.mark.parametrize("name", ASKED)
def test_a_programme_without_corals_is_told_so_or_counts_none(tmp_path: Path, name: str) -> None:
    typed(tmp_path / "new", "init", "--programme", "Ours")
    told = typed(tmp_path / "new", *ASKED[name])
    assert told.code == 0 and (told.lines == ["No corals."] or name == "period")
