"""`fieldkit survival` and `fieldkit observations`: the answers that programs rely on, and what a wrong question is told."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path
from typing import Any

import pytest

from tests.cli.terminal import typed

WRONG = {
    "an age": (["--at", "a year"], ["--at", "“a year”", "P12M"]),
    "a label": (["--by", "colour"], ["“colour”", "site, genotype, species, plot, cohort, method"]),
    "a label to choose by": (["--where", "colour=red"], ["“colour”", "site, genotype"]),
    "no pair": (["--where", "site"], ["--where", "“site”", "key=value"]),
    "a pair twice": (["--where", "site=Amo", "--where", "site=Amo"], ["“site” is given twice"]),
    "a site": (["--where", "site=Ammo"], ["site “Ammo”", "Amo"]),
    "a level": (["--level", "95"], ["95", "0.95"]),
    "a level in words": (["--level", "high"], ["--level", "'high'"]),
    "a day": (["--as-of", "2026-02-30"], ["--as-of", "“2026-02-30”", "2026-11-10"]),
    "an estimate": (["--estimate", "km"], ["--estimate", "'km'", "npmle", "found", "round"]),
    "limits that need dates": (["--limits", "greenwood"], ["--estimate found or round"]),
    "an end without a beginning": (["--until", "2024-09-01"], ["--until", "--from", "--as-of"]),
    "two ends": (["--from", "2024-03-01", "--until", "2024-09-01", "--as-of", "2024-08-01"], ["--until", "--as-of"]),
    "an end before the beginning": (["--from", "2024-09-01", "--until", "2024-03-01"], ["2024-03-01", "2024-09-01"]),
    "two forms": (["--csv", "--json"], ["--csv", "--json"]),
    "an option": (["--stie", "Amo"], ["--stie"]),
}

NUMBER = (int, float)


@pytest.mark.parametrize("what", WRONG)
def test_a_wrong_question_is_told_what_would_be_right(reef: Path, what: str) -> None:
    arguments, words = WRONG[what]
    told = typed(reef, "survival", *arguments)
    assert (told.code, told.out, [word for word in words if word not in told.err]) == (2, "", [])


@pytest.fixture(scope="module")
def answered(sample: Path) -> dict[str, Any]:
    """The sample's survival by site, in full."""
    found: dict[str, Any] = typed(sample, "survival", "--by", "site", "--at", "P12M", "--at", "100", "--json").json
    return found


def test_the_answer_has_the_keys_of_the_contract(answered: dict[str, Any]) -> None:
    assert {"as_of", "by", "estimate", "level", "left_out", "unsettled", "groups"} <= answered.keys()
    assert {"no_planting_day", "planted_later", "known_later", "practice"} <= answered["left_out"].keys()
    assert answered["unsettled"].keys() == {"observations", "corals"}


def test_a_group_has_its_label_its_counts_and_both_figures(answered: dict[str, Any]) -> None:
    for group in answered["groups"]:
        assert group.keys() == {"group", "corals", "plots", "deaths", "missing", "missing_lost", "missing_open"}
        assert group["group"].keys() == {"site"}
        assert all(type(group[name]) is int for name in ("corals", "plots", "deaths", "missing"))


def test_a_figure_has_its_curve_its_ages_its_median_and_its_mean(answered: dict[str, Any]) -> None:
    for group in answered["groups"]:
        for figure in (group["missing_lost"], group["missing_open"]):
            assert figure.keys() == {"curve", "at", "median", "restricted_mean"}
            assert len(figure["median"]) == 2
            assert figure["restricted_mean"].keys() == {"until", "value", "std_error"}


def test_a_row_of_a_curve_is_age_survival_limits_and_number_at_risk(answered: dict[str, Any]) -> None:
    rows = [row for group in answered["groups"] for row in group["missing_lost"]["curve"]]
    assert rows and all(len(row) == 5 for row in rows)
    assert all(lower is None or lower <= survival <= upper for _, survival, lower, upper, _ in rows)


def test_ages_come_in_days_the_youngest_first(answered: dict[str, Any]) -> None:
    for group in answered["groups"]:
        assert [at["age"] for at in group["missing_lost"]["at"]] == [100, 365]


def test_what_stands_at_an_age_is_a_share_with_limits_and_range(answered: dict[str, Any]) -> None:
    for at in (at for group in answered["groups"] for at in group["missing_open"]["at"]):
        assert at.keys() >= {"age", "survival", "lower", "upper", "at_risk", "range"}
        assert isinstance(at["survival"], NUMBER) and 0 <= at["survival"] <= 1
        assert at["range"][0] <= at["survival"] <= at["range"][1]


def test_missing_counted_as_lost_is_never_above_missing_left_open(answered: dict[str, Any]) -> None:
    for group in answered["groups"]:
        for lost, open_ in zip(group["missing_lost"]["at"], group["missing_open"]["at"], strict=True):
            assert lost["survival"] <= open_["survival"]


def test_csv_says_what_json_says(sample: Path) -> None:
    asked = ("survival", "--by", "site", "--at", "365", "--limits", "none")
    rows = list(csv.DictReader(io.StringIO(typed(sample, *asked, "--csv").out)))
    told = [
        (group["group"]["site"], treatment, at["known_at"]["age"], at["known_at"]["survival"])
        for group in typed(sample, *asked, "--json").json["groups"]
        for treatment in ("missing_lost", "missing_open")
        for at in group[treatment]["at"]
    ]
    names = ("site", "treatment", "known_age_days", "survival")
    assert [tuple(row[name] for name in names) for row in rows] == [tuple(map(str, figures)) for figures in told]


def test_a_label_given_twice_is_one(reef: Path) -> None:
    (group,) = typed(reef, "survival", "--by", "site", "--by", "site", "--limits", "none", "--json").json["groups"]
    assert group["group"] == {"site": "Amo"}


def test_names_are_compared_as_people_mean_them(sample: Path) -> None:
    asked = ("survival", "--limits", "none", "--json", "--where")
    assert typed(sample, *asked, "site= ray steps").json["groups"] == typed(sample, *asked, "site=Ray Steps").json["groups"]


def test_few_at_risk_are_marked(reef: Path) -> None:
    told = typed(reef, "survival", "--at", "100", "--limits", "none")
    assert re.search(r"\d\* ", told.out) and "* fewer than 10 at risk." in told.out
    assert " ‡" in told.out and "‡ marks fewer than 12 plots" in told.out


def test_a_programme_without_corals_says_so(tmp_path: Path) -> None:
    typed(tmp_path / "new", "init", "--programme", "Ours")
    assert typed(tmp_path / "new", "survival").lines == ["No corals."]


def test_observations_are_chosen_by_every_pair(sample: Path) -> None:
    rows = typed(sample, "observations", "--where", "plot=LAN-01", "--where", "fate=in a matter", "--json").json
    assert rows and {(row["plot"], row["fate"]) for row in rows} == {("LAN-01", "in a matter")}


def test_an_observation_has_its_session_values_and_fate(reef: Path) -> None:
    row = typed(reef, "observations", "--where", "coral=102", "--json").json[0]
    assert {"digest", "session", "seq", "day", "site", "plot", "recorder", "coral", "noted", "fate", "values"} == row.keys()
    assert (row["values"]["status"], row["fate"]) == ("dead", "counted")


def test_a_key_that_observations_do_not_have_is_told_with_those_they_have(reef: Path) -> None:
    told = typed(reef, "observations", "--where", "colour=red")
    assert (told.code, "“colour”" in told.err, "recorder" in told.err) == (2, True, True)


def test_a_name_that_no_observation_has_is_told_with_the_nearest(reef: Path) -> None:
    told = typed(reef, "observations", "--where", "coral=1O2")
    assert (told.code, "coral “1O2”" in told.err, "102" in told.err) == (2, True, True)


def test_names_that_are_known_but_never_meet_give_no_rows(reef: Path) -> None:
    told = typed(reef, "observations", "--where", "coral=101", "--where", f"digest={_digest_of(reef, '102')}")
    assert (told.code, told.lines) == (0, ["0 observations"])


def _digest_of(reef: Path, coral: str) -> str:
    return str(typed(reef, "observations", "--where", f"coral={coral}", "--json").json[0]["digest"])
