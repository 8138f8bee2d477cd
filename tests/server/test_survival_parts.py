"""What a programme lead asks beyond the curve, asked for as a browser would: the pages tell what `reports` answers."""

from __future__ import annotations

import csv
import re
from io import StringIO
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from fieldkit.base import Base
from fieldkit.server import create_app
from tests.reports.reef import Sites
from tests.server.test_survival_page import words

VISITS = ("2024-06-01", "2025-03-01", "2026-03-01")


def two_sites() -> Sites:
    """Genotypes G1 and G2 in four plots at site A, G3 alone at site B. Of G2 most die of heat, of G1 one is missing."""
    made = Sites()
    made.adopt()
    corals: dict[str, list[str]] = {"A": [], "B": []}
    for i in range(1, 5):
        for genotype in ("G1", "G2"):
            corals["A"] += made.plant(f"A{i}", genotype, 5)
        corals["B"] += made.plant(f"B{i}", "G3", 5)
    for day in VISITS:
        for site, its in corals.items():
            made.dive(site, day, {coral: state(coral, day) for coral in its})
    return made


def state(coral: str, day: str) -> str:
    plot, genotype, number = coral.split("/")
    if genotype == "G2" and int(number) < 4 and day > "2025" and (plot, number) != ("A1", "0"):
        return "dead heat"
    if coral == "A2/G1/0" and day > "2025-06":
        return "missing"
    return "alive"


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Base:
    return two_sites().base(tmp_path_factory.mktemp("parts"))


@pytest.fixture(scope="module")
def asked(base: Base) -> FlaskClient:
    return create_app(base).test_client()


def told(asked: FlaskClient, address: str) -> str:
    answer = asked.get(address)
    assert answer.status_code == 200
    return words(answer.text)


def table(asked: FlaskClient, address: str) -> list[dict[str, str]]:
    answer = asked.get(address)
    assert (answer.status_code, answer.mimetype) == (200, "text/csv")
    return list(csv.DictReader(StringIO(answer.text, newline="")))


def test_genotypes_are_ranked_and_those_that_differ_told_apart(asked: FlaskClient) -> None:
    page = told(asked, "/survival/ranking")
    assert page.index("1 G1 ") < page.index("2 G2 ")
    assert "G2 loses more than G1" in page


def test_a_genotype_that_shared_no_site_has_no_rank_and_the_page_says_why(asked: FlaskClient) -> None:
    page = told(asked, "/survival/ranking")
    assert "G3: nothing else stands at its sites" in page
    assert re.search(r"2 pairs never shared a site: nothing can be said of them G1 – G3 , G2 – G3", page)


def test_too_few_plots_are_told_with_their_number(tmp_path: Path) -> None:
    made = Sites()
    made.adopt()
    corals = [coral for genotype in ("G1", "G2") for coral in made.plant("A1", genotype, 12)]
    made.dive("A", "2025-03-01", {coral: "dead" if coral.endswith("1") else "alive" for coral in corals})
    page = told(create_app(made.base(tmp_path)).test_client(), "/survival/ranking")
    assert "G1: in 1 plot only, and one bad plot could be all of it" in page


def test_the_ranking_as_csv_holds_both_treatments(asked: FlaskClient) -> None:
    rows = table(asked, "/survival/ranking.csv")
    assert {(row["genotype"], row["treatment"]) for row in rows} == {
        (genotype, treatment) for genotype in ("G1", "G2", "G3") for treatment in ("missing_lost", "missing_open")
    }


def test_the_pairs_as_csv_say_of_each_what_can_be_said(asked: FlaskClient) -> None:
    rows = table(asked, "/survival/pairs.csv")
    verdicts = {(row["one"], row["other"]): row["verdict"] for row in rows if row["treatment"] == "missing_lost"}
    assert verdicts == {("G1", "G2"): "apart", ("G1", "G3"): "no_shared_site", ("G2", "G3"): "no_shared_site"}


def test_causes_stand_with_their_counts_and_missing_is_one_of_them(asked: FlaskClient) -> None:
    page = told(asked, "/survival/causes")
    assert re.search(r"A Heat, bleaching [\d.]+% [\d.–]+% [\d.]+% [\d.–]+% 15 B missing", page)


def test_causes_and_what_lives_add_up_in_the_csv(asked: FlaskClient) -> None:
    rows = [row for row in table(asked, "/survival/causes.csv") if row["treatment"] == "missing_lost"]
    for age in {row["age_days"] for row in rows}:
        its = [row for row in rows if row["age_days"] == age]
        assert sum(float(row["share"]) for row in its) + float(its[0]["survival"]) == pytest.approx(1)


def test_a_period_counts_what_became_of_those_alive_at_its_start(asked: FlaskClient) -> None:
    page = told(asked, "/survival/period?from=2024-07-01&until=2026-04-01")
    assert "Of 60 corals alive on 1 Jul 2024, 44 were seen alive afterwards" in page
    assert "15 were found dead, 1 are missing" in page


def test_without_days_the_period_is_the_year_before_the_last_visit(asked: FlaskClient) -> None:
    rows = table(asked, "/survival/period.csv")
    assert {(row["start"], row["end"]) for row in rows} == {("2025-03-01", "2026-03-01")}


def test_the_effort_tells_what_is_lacking_and_from_what(asked: FlaskClient) -> None:
    page = told(asked, "/survival/effort?by=genotype&age=365&difference=30")
    assert re.search(
        r"To tell 30 points of survival at 12 months apart \(\d+% against \d+%\) in 80 of 100 cases takes \d+", page
    )
    rows = table(asked, "/survival/effort.csv?by=genotype&age=365&difference=30")
    assert {row["genotype"]: row["corals"] for row in rows} == {"G1": "20", "G2": "20", "G3": "20"}


def test_the_matrix_has_a_field_for_each_pair_that_was_planted_and_none_for_others(asked: FlaskClient) -> None:
    page = asked.get("/survival/matrix").text
    links = set(re.findall(r"site=(\w)&amp;genotype=(\w+)", page))
    assert links == {("A", "G1"), ("A", "G2"), ("B", "G3")}


def test_a_field_of_the_matrix_leads_to_as_many_corals_as_it_says(asked: FlaskClient) -> None:
    assert "20 corals" in told(asked, "/survival/corals?site=A&genotype=G2")


@pytest.mark.parametrize("name", ["groups", "matrix", "ranking", "causes", "period", "effort", "corals"])
def test_every_part_is_told_in_spanish(asked: FlaskClient, name: str) -> None:
    page = words(asked.get(f"/survival/{name}", headers={"Accept-Language": "es"}).text)
    assert not re.search(r"\b(corals|survival|missing|the|lost)\b", page, re.IGNORECASE)


@pytest.mark.parametrize("name", ["groups", "matrix", "ranking", "causes", "period", "effort", "corals"])
def test_a_programme_without_corals_has_every_part(tmp_path: Path, name: str) -> None:
    made = Base.create(tmp_path / "base", "New")
    assert create_app(made).test_client().get(f"/survival/{name}").status_code == 200
