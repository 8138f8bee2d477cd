"""Genotypes ranked: who gets a rank, and what is said of each pair and why."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from fieldkit.base import View
from fieldkit.reports.columns import columns
from fieldkit.reports.errors import QuestionError
from fieldkit.reports.question import Question
from fieldkit.reports.ranking import Pair, Place, Ranking, ranking
from fieldkit.survival import holm, logrank
from tests.reports.reef import Sites

# Site A: plots of four corals. G1 loses one in each, G2 three in each, G3 all alike but four of four missing in one plot.
LOST = {"G1": [1, 1, 1, 1, 1], "G2": [3, 3, 3, 3, 2], "G3": [2, 2, 1, 1, 1]}


def planted(sites: Sites) -> dict[str, str]:
    seen: dict[str, str] = {}
    number = iter(range(1, 99))
    for genotype, plots in LOST.items():
        for lost in plots:
            corals = sites.plant(f"A{next(number)}", genotype, 4, method="nail_tie" if genotype == "G2" else "epoxy")
            states = ["dead"] * lost + ["alive"] * (4 - lost)
            seen |= dict(zip(corals, states, strict=True))
    one_plot = sites.plant(f"A{next(number)}", "G4", 5)
    return seen | dict.fromkeys(one_plot, "alive")


@pytest.fixture(scope="module")
def view(tmp_path_factory: pytest.TempPathFactory) -> Iterator[View]:
    """G4: five corals of one plot. Site B: G5 and G6, which A never saw. Site C: G7 alone. G3 has missing ones, too."""
    sites = Sites()
    seen = planted(sites)
    missing = sites.plant("A90", "G3", 4)
    sites.dive("A", "2024-09-01", seen | dict.fromkeys(missing, "missing"))
    elsewhere = [
        coral for plot in "123" for genotype in ("G5", "G6") for coral in sites.plant(f"B{plot}{genotype}", genotype, 4)
    ]
    sites.dive("B", "2024-09-01", {coral: "dead" if coral.endswith("G5/0") else "alive" for coral in elsewhere})
    alone = [coral for plot in "123" for coral in sites.plant(f"C{plot}", "G7", 4)]
    sites.dive("C", "2024-09-01", {coral: "dead" if coral.endswith("/0") else "alive" for coral in alone})
    with sites.base(tmp_path_factory.mktemp("ranking")).view() as opened:
        yield opened


@pytest.fixture(scope="module")
def found(view: View) -> Ranking:
    return ranking(view, Question())


def place(found: Ranking, label: str, treatment: str = "lost") -> Place:
    return next(place for place in getattr(found, treatment).places if place.label == label)


def pair(found: Ranking, one: str, other: str) -> Pair:
    return next(pair for pair in found.lost.pairs if pair.of == (one, other))


def test_fewer_losses_than_due_rank_first(found: Ranking) -> None:
    assert [(one.label, one.rank) for one in found.lost.places if one.set == 1 and one.rank] == [
        ("G1", 1),
        ("G3", 2),
        ("G2", 3),
    ]


def test_five_corals_of_one_plot_get_no_rank_and_say_why(found: Ranking) -> None:
    few = place(found, "G4")
    assert (few.rank, few.marks) == (None, ("few_corals", "few_plots"))
    assert [fault.text() for fault in few.said()] == [
        "G4: only 5 corals. Fewer than 10 beside others are not ranked.",
        "G4: in 1 plot only, and one bad plot could be all of it. Fewer than 3 beside others are not ranked.",
    ]


def test_a_genotype_alone_at_its_sites_gets_no_rank(found: Ranking) -> None:
    assert (place(found, "G7").rank, place(found, "G7").marks) == (None, ("alone",))


def test_sites_without_a_genotype_in_common_are_ranked_apart(found: Ranking) -> None:
    assert {one.label: (one.set, one.rank) for one in found.lost.places if one.label in ("G5", "G6")} == {
        "G5": (2, 2),
        "G6": (2, 1),
    }


def test_losses_due_add_up_to_those_seen_in_each_set(found: Ranking) -> None:
    for number in (1, 2):
        its = [one for one in found.lost.places if one.set == number]
        assert sum(one.due for one in its) == pytest.approx(sum(one.lost for one in its))


def test_missing_left_open_is_ranked_beside_missing_counted_as_lost(found: Ranking) -> None:
    assert (place(found, "G3").lost, place(found, "G3", "open").lost) == (11, 7)


def test_limits_lie_around_the_ratio(found: Ranking) -> None:
    for one in found.lost.places:
        if one.lower is not None:
            assert one.lower <= one.ratio <= one.upper  # type: ignore[operator]


def test_a_difference_beyond_chance_and_luck_is_told(found: Ranking) -> None:
    clear = pair(found, "G1", "G2")
    assert (clear.verdict, clear.lost, clear.corals, clear.plots) == ("apart", (5, 14), (20, 20), (5, 5))
    assert clear.said().text().startswith("G2 loses more than G1")


def test_a_pair_that_never_shared_a_site_is_told_so(found: Ranking) -> None:
    apart = pair(found, "G1", "G5")
    assert (apart.verdict, apart.sites, apart.ratio, apart.p_value) == ("no_shared_site", (), None, None)


def test_a_pair_of_small_numbers_is_told_so_and_not_tested(found: Ranking) -> None:
    small = pair(found, "G2", "G4")
    assert (small.verdict, small.p_adjusted) == ("few", None)
    assert "20 / 5 corals in 5 / 1 plots" in small.said().text()


def test_p_values_are_adjusted_for_all_pairs_that_were_tested(found: Ranking) -> None:
    tested = [one for one in found.lost.pairs if one.p_value is not None]
    assert {one.verdict for one in tested} <= {"apart", "not_apart"}
    adjusted = holm([one.p_value for one in tested if one.p_value is not None])
    assert [one.p_adjusted for one in tested] == pytest.approx(adjusted.tolist())


def test_every_pair_has_one_verdict(found: Ranking) -> None:
    assert len(found.lost.pairs) == 7 * 6 / 2


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_verdict_and_mark_is_a_sentence(found: Ranking, language: str) -> None:
    said = [one.said() for one in found.lost.pairs] + [fault for one in found.lost.places for fault in one.said()]
    assert all(fault.text(language) for fault in said)


def test_methods_can_be_ranked_as_genotypes_can(view: View) -> None:
    assert [one.label for one in ranking(view, Question(by=("method",))).lost.places] == ["epoxy", "nail_tie"]


@pytest.mark.parametrize("by", [("site",), ("plot",), ("genotype", "method")])
def test_what_cannot_be_compared_within_sites_is_refused(view: View, by: tuple[str, ...]) -> None:
    with pytest.raises(QuestionError, match="genotype, species, cohort, method"):
        ranking(view, Question(by=by))


def test_where_chooses_corals(view: View) -> None:
    assert {one.label for one in ranking(view, Question(where={"site": "B"})).lost.places} == {"G5", "G6"}


def test_nobody_planted_is_an_empty_ranking(view: View) -> None:
    assert ranking(view, Question(where={"site": "Z"})).lost.places == ()


def test_dated_when_found_losses_due_are_those_of_the_stratified_log_rank(view: View) -> None:
    rows = columns(view, where={"site": "A"}).rows["lost", "settled"]
    label = columns(view, where={"site": "A"}).labels["genotype"][rows.subject]
    lost = np.isfinite(rows.right)
    test = logrank(np.where(lost, rows.right, rows.left), lost, label)
    places = {one.label: one for one in ranking(view, Question(where={"site": "A"}, estimate="found")).lost.places}
    assert [places[str(name)].due for name in test.groups] == pytest.approx(test.expected.tolist(), rel=1e-6)


def test_json_has_plain_values_alone(found: Ranking) -> None:
    plain: dict[str, Any] = found.to_json()
    assert json.loads(json.dumps(plain)) == plain
