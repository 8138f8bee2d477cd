"""The truth adds up, and the corals of a plot share a fate."""

from __future__ import annotations

import re
from collections import Counter
from datetime import date, timedelta
from math import exp
from pathlib import Path
from statistics import fmean, pvariance
from typing import Any

import pytest
from sample import fates, programme

SAMPLE = Path(__file__).parents[2] / "sample_surveys"


def lives(coral: dict[str, Any], age_days: int) -> bool:
    died = coral["died_on"]
    return died is None or date.fromisoformat(died) - date.fromisoformat(coral["planted_on"]) > timedelta(days=age_days)


def test_every_planted_coral_is_in_the_truth(sample: Any) -> None:
    plantings = sample.of("planting", sample.entries.values())
    tagged = {entry.values["row"] for entry in plantings if "count" not in entry.values}
    counted = sum(int(entry.values.get("count", "0")) for entry in plantings)
    assert {coral["coral"] for coral in sample.truth["corals"]} - {None} == tagged
    assert len(sample.truth["corals"]) == len(tagged) + counted


def test_the_truth_of_a_coral_is_what_was_planted(sample: Any) -> None:
    accession = {e.values["genotype"]: e.values["accession"] for e in sample.of("genotype", sample.entries.values())}
    for entry in sample.of("planting", sample.entries.values()):
        if "tag" in entry.values:
            true = sample.coral(entry.values["row"])
            said = (entry.values["tag"], accession[entry.values["genotype"]], entry.values["method"])
            assert said == (true["tag"], true["genotype"], true["method"])


@pytest.mark.parametrize(("age", "days"), [("P12M", 365), ("P24M", 730)])
@pytest.mark.parametrize("by", ["site", "genotype", "method"])
def test_true_survival_is_the_share_of_corals_that_lived_so_long(sample: Any, by: str, age: str, days: int) -> None:
    followed = [coral for coral in sample.truth["corals"] if coral["followed"]]
    for label, figure in sample.truth["survival"][by].items():
        group = [coral for coral in followed if coral[by] == label]
        assert figure["corals"] == len(group)
        assert figure[age]["share"] == round(sum(lives(coral, days) for coral in group) / len(group), 4)


def test_groups_of_the_true_survival_add_up_to_the_whole(sample: Any) -> None:
    survival = sample.truth["survival"]
    for by in ("site", "genotype", "method"):
        assert sum(figure["P24M"]["alive"] for figure in survival[by].values()) == survival["all"]["P24M"]["alive"]


def test_corals_of_a_plot_share_a_fate(by_plot: dict[str, list[dict[str, Any]]]) -> None:
    """The shares alive at 24 months vary more from plot to plot than chance alone would make them."""
    rings = [[lives(coral, 730) for coral in ring] for ring in by_plot.values()]
    overall = fmean(one for ring in rings for one in ring)
    by_chance = fmean(overall * (1 - overall) / len(ring) for ring in rings)
    assert pvariance([fmean(ring) for ring in rings]) > 1.5 * by_chance


def test_the_chance_of_a_stroke_follows_the_hazard() -> None:
    """The share that nothing struck by an age is exp(-summed hazard), over luck spread evenly."""
    plot = next(plot for plot in programme.plots() if plot.recorded_as == "tagged")
    summed = fates.cumulative_hazard(plot, programme.GENOTYPES[0])
    struck = [fates.age_when_struck(summed, luck / 10_000) for luck in range(10_000)]
    for age in (30, 365, 700):
        assert fmean(when > age for when in struck) == pytest.approx(exp(-summed[age]), abs=0.001)


def test_causes_of_death_are_told_for_the_dead_alone(sample: Any) -> None:
    assert all((coral["died_on"] is None) == (coral["cause"] is None) for coral in sample.truth["corals"])


def test_no_coral_was_seen_alive_after_its_true_death(sample: Any) -> None:
    days = {entry.session: entry.values["day"] for entry in sample.of("session", sample.entries.values())}
    for entry in sample.of("observation", sample.files["programme.zip"]):
        if entry.values.get("status") == "alive":
            died = sample.coral(entry.values["coral"])["died_on"]
            assert died is None or days[entry.session] < died


def test_the_living_were_called_dead_only_where_the_truth_says_so(sample: Any) -> None:
    mistaken = {digest for said in sample.truth["past"]["mistaken"].values() for digest in said}
    days = {entry.session: entry.values["day"] for entry in sample.of("session", sample.entries.values())}
    for entry in sample.of("observation", sample.files["programme.zip"]):
        if entry.values.get("status") == "dead" and entry.digest not in mistaken:
            died = sample.coral(entry.values["coral"])["died_on"]
            assert died is not None
            assert died <= days[entry.session]


def test_nobody_looks_at_a_coral_after_its_withdrawal(sample: Any) -> None:
    days = {entry.session: entry.values["day"] for entry in sample.of("session", sample.entries.values())}
    withdrawn = {e.values["coral"]: e.values["withdrawn_on"] for e in sample.of("coral", sample.entries.values())}
    assert {sample.coral(coral)["withdrawn_in"] for coral in withdrawn} == {"month 12"}
    for entry in sample.of("observation", sample.entries.values()):
        if entry.values.get("coral") in withdrawn:
            assert days[entry.session] <= withdrawn[entry.values["coral"]]


def test_a_plot_that_is_not_followed_was_never_looked_at(sample: Any) -> None:
    unfollowed = {e.values["plot"] for e in sample.of("plot", sample.entries.values()) if e.values["followed"] == "no"}
    assert len(unfollowed) == 1
    assert not unfollowed & {entry.values.get("plot") for entry in sample.of("observation", sample.entries.values())}


def test_the_readme_counts_the_flaws_that_were_planted(sample: Any) -> None:
    told = {}
    for line in (SAMPLE / "README.md").read_text("utf-8").splitlines():
        cells = [cell.strip() for cell in line.strip("|").split("|")]
        if len(cells) == 3 and re.fullmatch(r"[\d, ]+", cells[1]):
            told.update(zip(re.findall(r"`(\w+)`", cells[0]), map(int, cells[1].split(",")), strict=True))
    assert told == Counter(flaw["kind"] for flaw in sample.truth["flaws"])
