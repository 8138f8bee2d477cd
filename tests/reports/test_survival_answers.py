"""Survival as answered from a real base: the figures by hand, what is left out, and the form of the answer."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from fieldkit.base import Base
from fieldkit.reports.errors import QuestionError
from fieldkit.reports.question import Question
from fieldkit.reports.survival import answer
from tests.reports.reef import Sites
from tests.support.programme import Book, Reef, base_of, name

PLANTED, LATER = date(2024, 3, 1), date(2024, 9, 1)
STATES = {"a": "alive", "d": "dead", "m": "missing"}
TEN = {"A": 10}
LIVES = ["aaaa"] * 5 + ["adss", "ammm", "aaad", "aama", "aaam"]
AGES = (30, 90, 180, 365)


def day(age: int) -> str:
    return str(PLANTED + timedelta(age))


def seen(reef: Reef, lives: list[str], ages: tuple[int, ...] = AGES, plot: str = "A", first: int = 101) -> None:
    """A session at each age in which the corals were in these states; s: not looked at."""
    for i, age in enumerate(ages):
        dive = reef.dive(f"kai {plot}", day(age))
        for j, life in enumerate(lives):
            if life[i] in STATES:
                reef.see(dive, f"{first + j}", STATES[life[i]], plot=plot)


def asked(folder: Path, reef: Reef, **question: Any) -> dict[str, Any]:
    base = base_of(folder / "base", reef.entries(), [reef.protocol])
    return answered(base, reef, **question)


def answered(base: Base, reef: Reef, **question: Any) -> dict[str, Any]:
    with base.view() as view:
        return answer(view, Question(**{"limits": "none", **question}), reef.protocol)


def shares(found: dict[str, Any], treatment: str, group: int = 0) -> list[float | None]:
    return [at["survival"] for at in found["groups"][group][f"missing_{treatment}"]["at"]]


@pytest.fixture(scope="module")
def ten(tmp_path_factory: pytest.TempPathFactory) -> tuple[Base, Reef]:
    """The ten corals of the handbook: visits at 30, 90, 180, 365 days; #6 dead at 90, #7 missing from 90, #8 dead at 365, #9
    missing at 180 and alive at 365, #10 missing at 365; the others alive throughout."""
    reef = Reef(TEN)
    seen(reef, LIVES)
    return base_of(tmp_path_factory.mktemp("base") / "ten", reef.entries(), [reef.protocol]), reef


@pytest.mark.parametrize("estimate", ["npmle", "found"])
@pytest.mark.parametrize(("treatment", "expected"), [("lost", [1, 0.8, 0.8, 0.6]), ("open", [1, 8 / 9, 8 / 9, 8 / 9 * 6 / 7])])
def test_the_ten_corals_give_the_figures_worked_out_by_hand(
    ten: tuple[Base, Reef], estimate: str, treatment: str, expected: list[float]
) -> None:
    assert shares(answered(*ten, estimate=estimate, at=AGES), treatment) == pytest.approx(expected)


def test_the_limits_of_the_ten_corals_are_greenwoods_on_the_log_log_scale(ten: tuple[Base, Reef]) -> None:
    at = answered(*ten, estimate="found", limits="greenwood", at=(365,))["groups"][0]["missing_lost"]["at"][0]
    assert (at["lower"], at["upper"]) == pytest.approx((0.2527, 0.8272), abs=5e-5)


def test_the_deaths_of_the_ten_corals_lie_in_two_intervals(ten: tuple[Base, Reef]) -> None:
    """Mass 0.2 in (30, 90] and 0.2 in (180, 365]: a row stands at the right end of each."""
    group = answered(*ten, at=AGES)["groups"][0]
    assert [row[:2] for row in group["missing_lost"]["curve"]] == [[90, pytest.approx(0.8)], [365, pytest.approx(0.6)]]


def test_inside_an_innermost_interval_the_value_is_that_of_its_left_end(ten: tuple[Base, Reef]) -> None:
    assert shares(answered(*ten, at=(60, 300)), "lost") == pytest.approx([1, 0.8])


def test_at_risk_are_those_whose_interval_reaches_past_the_age(ten: tuple[Base, Reef]) -> None:
    group = answered(*ten, at=AGES)["groups"][0]
    assert [at["at_risk"] for at in group["missing_lost"]["at"]] == [10, 8, 8, 6]


def test_the_fates_of_the_ten_corals_are_told(ten: tuple[Base, Reef]) -> None:
    found = answered(*ten)
    assert found["fates"] == {"alive": 6, "dead": 2, "missing": 2}
    assert [found["groups"][0][name] for name in ("corals", "plots", "deaths", "missing")] == [10, 1, 2, 2]


@pytest.mark.parametrize(
    ("estimate", "mean"), [("found", (90 * 2 + 365 * 8) / 10), ("npmle", (60 * 2 + 272.5 * 2 + 365 * 6) / 10)]
)
def test_the_restricted_mean_runs_to_the_largest_age_at_which_something_is_known(
    ten: tuple[Base, Reef], estimate: str, mean: float
) -> None:
    told = answered(*ten, estimate=estimate)["groups"][0]["missing_lost"]["restricted_mean"]
    assert (told["until"], told["value"]) == (365, pytest.approx(mean))


def test_the_restricted_mean_runs_to_the_age_that_is_asked(ten: tuple[Base, Reef]) -> None:
    told = answered(*ten, estimate="found", until_age=100)["groups"][0]["missing_lost"]["restricted_mean"]
    assert (told["until"], told["value"]) == (100, pytest.approx((90 * 2 + 100 * 8) / 10))


@pytest.mark.parametrize("estimate", ["npmle", "found"])
def test_a_median_that_was_not_reached_lies_past_the_last_age_at_which_something_is_known(
    ten: tuple[Base, Reef], estimate: str
) -> None:
    assert answered(*ten, estimate=estimate)["groups"][0]["missing_lost"]["median"] == [365, None]


def test_without_ages_the_rounds_of_the_protocol_so_far_are_shown(ten: tuple[Base, Reef]) -> None:
    assert [at["age"] for at in answered(*ten)["groups"][0]["missing_lost"]["at"]] == [30, 91, 182, 365]


def test_the_answer_holds_what_the_contract_promises(ten: tuple[Base, Reef]) -> None:
    found = answered(*ten, by=("site",), at=(365,))
    (group,) = found["groups"]
    assert {"as_of", "by", "estimate", "level", "left_out", "unsettled", "groups"} <= found.keys()
    assert group.keys() == {"group", "corals", "plots", "deaths", "missing", "missing_lost", "missing_open"}
    for treatment in ("missing_lost", "missing_open"):
        assert group[treatment].keys() == {"curve", "at", "median", "restricted_mean"}
        assert {"age", "survival", "lower", "upper", "at_risk", "range"} <= group[treatment]["at"][0].keys()
        assert all(len(row) == 5 for row in group[treatment]["curve"])
        assert group[treatment]["restricted_mean"].keys() == {"until", "value", "std_error"}


# By round.


def test_by_round_a_death_counts_at_the_nominal_age_of_its_round(tmp_path: Path) -> None:
    reef = Reef({"A": 2})
    seen(reef, ["ad", "aa"], ages=(35, 100))
    found = asked(tmp_path, reef, estimate="round", at=(90, 91))
    assert shares(found, "lost") == [1, 0.5]


def test_by_round_without_a_protocol_is_refused(ten: tuple[Base, Reef]) -> None:
    with ten[0].view() as view, pytest.raises(QuestionError, match="no rounds"):
        answer(view, Question(estimate="round"))


# From a day to a day.


def test_from_a_day_on_ages_count_from_it_over_those_not_lost_by_then(ten: tuple[Base, Reef]) -> None:
    """From day 90 on: #6 and #7 are gone. Of the eight others #8 and #10 are lost by day 365."""
    found = answered(*ten, since=date.fromisoformat(day(90)), at=(90, 275))
    assert shares(found, "lost") == pytest.approx([1, 0.75])
    assert found["groups"][0]["corals"] == 8


def test_between_two_visits_those_not_known_to_be_lost_are_followed_on(ten: tuple[Base, Reef]) -> None:
    """On day 60 nobody knew that #6 and #7 were dying: their deaths lie in (0, 30] after it."""
    found = answered(*ten, since=date.fromisoformat(day(60)), at=(30, 305))
    assert shares(found, "lost") == pytest.approx([0.8, 0.6])


def test_a_period_ends_with_its_last_day(ten: tuple[Base, Reef]) -> None:
    """By day 180 #6 was dead, and #7 and #9 missing: nobody knew yet that #9 would be found again."""
    found = answered(*ten, since=date.fromisoformat(day(60)), as_of=date.fromisoformat(day(180)), at=(120,))
    group = found["groups"][0]
    assert (shares(found, "lost"), group["deaths"], group["missing"]) == ([pytest.approx(0.7)], 1, 2)


def test_a_coral_planted_after_the_first_day_of_a_period_is_not_in_it(ten: tuple[Base, Reef]) -> None:
    assert answered(*ten, since=date(2024, 2, 1))["groups"] == []


# Counted plots.


def counted(reef: Reef, *counts: tuple[int, int, int, int], planted: int = 10) -> None:
    """Plot C with one genotype, counted at these ages: alive, dead, missing."""
    register = reef.lead("counted")
    register.say("plot", {"plot": reef.plot("C"), "site": reef.site, "name": "C", "recorded_as": "counted"})
    planting = Book("planting C", role="lead", site=reef.site, day=str(PLANTED))
    planting.say(
        "planting", {"row": name("group"), "plot": reef.plot("C"), "genotype": name("genotype"), "count": str(planted)}
    )
    reef.books.append(planting)
    for age, *numbers in counts:
        values = dict(zip(("alive", "dead", "missing"), map(str, numbers), strict=True))
        said = {"row": name("row", age), "plot": reef.plot("C"), "genotype": name("genotype"), **values}
        reef.dive("noa", day(age)).say("observation", said)


def test_a_count_weighs_as_many_corals_as_it_speaks_of(tmp_path: Path) -> None:
    reef = Reef({"A": 1})
    counted(reef, (30, 10, 0, 0), (90, 8, 1, 1), (365, 6, 2, 2))
    found = asked(tmp_path, reef, where={"plot": "Amo C"}, at=(90, 365))
    assert shares(found, "lost") == pytest.approx([0.8, 0.6])
    assert shares(found, "open") == pytest.approx([8 / 9 + 1 / 9 * 0, 8 / 9 * 6 / 7])
    assert [found["groups"][0][what] for what in ("corals", "plots", "deaths", "missing")] == [10, 1, 2, 2]


def test_tagged_and_counted_corals_stand_in_one_figure(tmp_path: Path) -> None:
    reef = Reef({"A": 10})
    seen(reef, ["ad"] * 5 + ["aa"] * 5, ages=(30, 90))
    counted(reef, (30, 10, 0, 0), (90, 10, 0, 0))
    found = asked(tmp_path, reef, at=(90,))
    assert (shares(found, "lost"), found["fates"]) == ([pytest.approx(0.75)], {"alive": 15, "dead": 5})


# Left out, and late.


def test_corals_without_a_planting_day_are_left_out_and_counted(tmp_path: Path) -> None:
    reef = Reef({"A": 2})
    reef.lead("lead").say("coral", {"coral": name("found"), "plot": reef.plot("A"), "position": "9"})
    found = asked(tmp_path, reef)
    assert (found["left_out"]["no_planting_day"], found["groups"][0]["corals"], found["fates"]) == (1, 2, {"not_seen": 3})


def test_corals_planted_after_the_as_of_day_are_left_out_and_counted(tmp_path: Path) -> None:
    reef = Reef({"A": 2})
    found = asked(tmp_path, reef, as_of=date(2024, 2, 1))
    assert (found["left_out"]["planted_later"], found["groups"], found["fates"]) == (2, [], {})


def followed_late(**question: Any) -> Reef:
    """101 is known from its planting and dies by 90; 102 is known from age 60 and dies by 120; 103 lives."""
    reef = Reef({"A": 3})
    reef.lead("lead").say("coral", {"coral": reef.coral("102"), "known_from": day(60)})
    seen(reef, ["ads", "sad", "aaa"], ages=(30, 90, 120))
    return reef


def test_a_coral_known_from_an_age_on_is_left_out_of_the_npmle_and_counted(tmp_path: Path) -> None:
    found = asked(tmp_path, followed_late(), at=(120,))
    assert (found["left_out"]["known_later"], found["groups"][0]["corals"]) == (1, 2)
    assert shares(found, "lost") == [0.5]


def test_a_coral_known_from_an_age_on_enters_kaplan_meier_late(tmp_path: Path) -> None:
    """At 90 one of three at risk dies, at 120 one of the two left."""
    found = asked(tmp_path, followed_late(), estimate="found", at=(90, 120))
    assert shares(found, "lost") == pytest.approx([2 / 3, 1 / 3])
    assert (found["left_out"]["known_later"], found["groups"][0]["corals"]) == (0, 3)


def test_a_coral_that_was_at_risk_for_no_time_is_left_out_and_counted(tmp_path: Path) -> None:
    reef = Reef({"A": 2})
    reef.lead("lead").say("coral", {"coral": reef.coral("102"), "known_from": day(60)})
    seen(reef, ["a"], ages=(90,))
    found = asked(tmp_path, reef, estimate="found", at=(90,))
    assert (found["left_out"]["known_later"], found["groups"][0]["corals"], shares(found, "lost")) == (1, 1, [1])


def test_from_a_day_on_a_coral_followed_by_then_is_no_late_one(tmp_path: Path) -> None:
    found = asked(tmp_path, followed_late(), since=date.fromisoformat(day(60)), at=(60,))
    assert (found["left_out"]["known_later"], found["groups"][0]["corals"]) == (0, 3)
    assert shares(found, "lost") == pytest.approx([1 / 3])


def test_practice_is_counted_and_stands_in_no_figure(tmp_path: Path) -> None:
    reef = Reef({"A": 2})
    seen(reef, ["a", "a"], ages=(30,))
    reef.see(reef.dive("mei", day(60), practice=True), "101", "dead")
    found = asked(tmp_path, reef, at=(60,))
    assert (found["left_out"]["practice"], shares(found, "lost"), found["fates"]) == (1, [1], {"alive": 2})


# Unsettled.


def in_dispute(reef: Reef) -> None:
    """Of four corals 101 is alive to one and dead to another."""
    seen(reef, ["ad", "aa", "aa", "ad"], ages=(30, 90))
    reef.see(reef.dive("noa", day(90)), "101", "alive")


def test_a_figure_ranges_from_the_worst_answer_to_the_best(tmp_path: Path) -> None:
    reef = Reef({"A": 4})
    in_dispute(reef)
    found = asked(tmp_path, reef, at=(90,))
    assert found["groups"][0]["missing_lost"]["at"][0]["range"] == pytest.approx([0.5, 0.75])
    assert found["unsettled"] == {"observations": 2, "corals": 1}


def test_what_is_unsettled_is_counted_for_the_corals_asked_about_only(tmp_path: Path) -> None:
    reef = Reef({"A": 4, "B": 1})
    in_dispute(reef)
    reef.see(reef.dive("no tag", day(90)), "999", "alive", plot="B")  # of no known coral: in scope with its plot
    base = base_of(tmp_path / "base", reef.entries(), [reef.protocol])
    with base.view() as view:
        told = [answer(view, Question(where={"plot": f"Amo {plot}"}, limits="none"))["unsettled"] for plot in ("A", "B")]
    assert told == [{"observations": 2, "corals": 1}, {"observations": 1, "corals": 0}]


def test_while_it_is_disputed_the_visit_tells_nothing_of_the_coral(tmp_path: Path) -> None:
    reef = Reef({"A": 4})
    in_dispute(reef)
    assert shares(asked(tmp_path, reef, estimate="found", at=(90,)), "lost") == pytest.approx([2 / 3])


def test_what_is_settled_ranges_over_nothing(ten: tuple[Base, Reef]) -> None:
    at = answered(*ten, at=(365,))["groups"][0]["missing_lost"]["at"][0]
    assert at["range"] == [at["survival"]] * 2


def test_a_disputed_count_is_told_in_corals(tmp_path: Path) -> None:
    reef = Reef({"A": 1})
    counted(reef, (90, 8, 0, 2))
    said = {"row": name("again"), "plot": reef.plot("C"), "genotype": name("genotype"), "alive": "6", "missing": "4"}
    reef.dive("mei", day(90)).say("observation", said)
    found = asked(tmp_path, reef, where={"plot": "Amo C"}, at=(90,))
    assert found["unsettled"]["corals"] == 2
    assert found["groups"][0]["missing_lost"]["at"][0]["range"] == [0.6, 1]


def test_a_count_disputed_between_dead_and_missing_ranges_where_missing_is_left_open(tmp_path: Path) -> None:
    reef = Reef({"A": 1})
    counted(reef, (90, 8, 0, 2))
    said = {"row": name("again"), "plot": reef.plot("C"), "genotype": name("genotype"), "alive": "8", "dead": "2"}
    reef.dive("mei", day(90)).say("observation", said)
    found = asked(tmp_path, reef, where={"plot": "Amo C"}, at=(90,))
    assert found["unsettled"]["corals"] == 2
    assert found["groups"][0]["missing_open"]["at"][0]["range"] == pytest.approx([0.8, 1])


# Groups.


def two_plots(tmp_path: Path, **question: Any) -> dict[str, Any]:
    reef = Reef({"A": 4, "B": 2})
    seen(reef, ["ad", "aa", "aa", "aa"], ages=(30, 90))
    seen(reef, ["ad", "ad"], ages=(30, 90), plot="B", first=201)
    return asked(tmp_path, reef, at=(90,), **question)


def test_each_group_has_its_own_figures(tmp_path: Path) -> None:
    found = two_plots(tmp_path, by=("plot",))
    assert [(group["group"], group["corals"]) for group in found["groups"]] == [({"plot": "Amo A"}, 4), ({"plot": "Amo B"}, 2)]
    assert [shares(found, "lost", group) for group in (0, 1)] == [[0.75], [0]]


def test_two_labels_are_crossed(tmp_path: Path) -> None:
    found = two_plots(tmp_path, by=("site", "plot"))
    assert [group["group"] for group in found["groups"]] == [
        {"site": "Amo", "plot": "Amo A"},
        {"site": "Amo", "plot": "Amo B"},
    ]


def test_all_corals_of_all_groups_add_up(tmp_path: Path) -> None:
    found = two_plots(tmp_path, by=("genotype", "plot"))
    assert sum(group["corals"] for group in found["groups"]) == sum(found["fates"].values())


@pytest.mark.parametrize("label", ["Amo B", "amo b", "AMOB"])
def test_only_what_was_asked_for_is_told_in_whatever_letters_it_is_asked(tmp_path: Path, label: str) -> None:
    found = two_plots(tmp_path, where={"plot": label})
    assert (found["groups"][0]["corals"], shares(found, "lost")) == (2, [0])


def test_of_a_label_that_nothing_has_there_are_no_groups(tmp_path: Path) -> None:
    assert two_plots(tmp_path, where={"site": "nowhere"})["groups"] == []


@pytest.mark.parametrize("question", [{"by": ("reef",)}, {"where": {"reef": "Amo"}}])
def test_a_label_that_figures_are_not_told_by_is_refused_with_those_that_they_are(question: Any) -> None:
    with pytest.raises(QuestionError, match="site, genotype, species, plot, cohort, method"):
        Question(**question)


@pytest.mark.parametrize("level", [0, 1, 95])
def test_a_level_that_is_no_share_is_refused(level: float) -> None:
    with pytest.raises(QuestionError, match=str(level)):
        Question(level=level)


def test_greenwoods_limits_are_refused_where_deaths_have_no_dates() -> None:
    with pytest.raises(QuestionError, match="Greenwood"):
        Question(limits="greenwood")


# Limits over plots.


def test_limits_over_plots_hold_the_figure_and_are_the_same_each_time(tmp_path: Path) -> None:
    reef = Reef({"A": 4, "B": 4})
    seen(reef, ["ad", "aa", "aa", "aa"], ages=(30, 90))
    seen(reef, ["ad", "ad", "aa", "aa"], ages=(30, 90), plot="B", first=201)
    base = base_of(tmp_path / "base", reef.entries(), [reef.protocol])
    one, other = (answered(base, reef, limits="plots", at=(90,)) for _ in range(2))
    at = one["groups"][0]["missing_lost"]["at"][0]
    assert at["lower"] <= at["survival"] <= at["upper"]
    assert one == other


def test_an_alive_coral_that_came_loose_is_alive(tmp_path: Path) -> None:
    reef = Reef({"A": 2})
    dive = reef.dive("KT", day(90))
    reef.see(dive, "101", "alive", attachment="detached")
    reef.see(dive, "102", "alive", attachment="solid")
    found = asked(tmp_path, reef, at=(90,))
    (group,) = found["groups"]
    assert (group["deaths"], group["missing"], found["fates"]["alive"]) == (0, 0, 2)


def of_two_methods_and_cohorts(folder: Path) -> Base:
    """Of five corals each, planted with epoxy and half a year later with ties, one and three were found dead after 90 days."""
    made = Sites()
    made.adopt()
    for plot, planted, method, dead in (("A1", PLANTED, "epoxy", 1), ("A2", LATER, "nail_tie", 3)):
        corals = made.plant(plot, "G1", 5, day=str(planted), method=method)
        made.dive(
            "A", str(planted + timedelta(days=90)), {coral: "dead" if i < dead else "alive" for i, coral in enumerate(corals)}
        )
    return made.base(folder)


@pytest.mark.parametrize("label", ["method", "cohort", "plot"])
def test_figures_are_told_by_method_cohort_and_plot(tmp_path: Path, label: str) -> None:
    with of_two_methods_and_cohorts(tmp_path).view() as view:
        found = answer(view, Question(by=(label,), at=(90,), limits="none"))
    names = {"method": ("epoxy", "nail_tie"), "cohort": (str(PLANTED), str(LATER)), "plot": ("A A1", "A A2")}[label]
    told = {group["group"][label]: group["missing_lost"]["at"][0]["survival"] for group in found["groups"]}
    assert told == pytest.approx(dict(zip(names, (0.8, 0.4), strict=True)))


def test_a_counted_plot_is_told_as_it_was_on_a_day(tmp_path: Path) -> None:
    made = Sites()
    made.plant_counted("A1", "G1", 10)
    made.count("A", "2024-05-30", "A1", "G1", alive=8, dead=2, missing=0)
    made.count("A", "2024-11-26", "A1", "G1", alive=5, dead=4, missing=1)
    with made.base(tmp_path).view() as view:
        told = [
            [at["survival"] for at in answer(view, Question(as_of=as_of, at=(90, 270), limits="none"))["groups"][0][name]["at"]]
            for as_of in (date(2024, 6, 30), None)
            for name in ("missing_lost", "missing_open")
        ]
    assert told[0] == told[1] == pytest.approx([0.8, 0.8])
    assert (told[2], told[3][0]) == (pytest.approx([0.8, 0.5]), pytest.approx(0.8)) and told[3][1] > 0.5
