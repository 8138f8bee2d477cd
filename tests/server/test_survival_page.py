"""The survival page tells the figures of `reports.survival`, both treatments of missing, and what they come from."""

from __future__ import annotations

import csv
import re
from io import StringIO
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from fieldkit.server import create_app
from fieldkit.server.pages.survival import make_ready
from tests.support.programme import Reef, base_of


def ten_corals() -> Reef:
    """Twelve corals of plot A seen on three days: one found dead on the first, one missing on the second; plot B never seen."""
    made = Reef({"A": 12, "B": 2})
    for day, gone in (("2024-05-31", {"101": "dead"}), ("2024-08-30", {"102": "missing"}), ("2025-03-01", {})):
        book = made.dive("KT", day)
        for number in range(101, 113):
            if not (str(number) == "101" and day > "2024-06") and not (str(number) == "102" and day > "2024-09"):
                made.see(book, str(number), gone.get(str(number), "alive"))
    return made


@pytest.fixture(scope="module")
def asked(tmp_path_factory: pytest.TempPathFactory) -> FlaskClient:
    made = ten_corals()
    base = base_of(tmp_path_factory.mktemp("survival") / "base", made.entries(), [made.protocol])
    base.adopt(made.protocol)
    return create_app(base).test_client()


def words(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.partition("<main")[2])).replace("\N{WORD JOINER}", "")


def test_the_headline_counts_missing_as_lost_at_the_last_round_with_enough_corals(asked: FlaskClient) -> None:
    told = words(asked.get("/survival").text)
    assert re.search(r"Survival (\d+\.\d%) of the corals are estimated to be alive 12 months after outplanting", told)
    assert "missing counted as lost. With missing left open it is" in told


def test_the_headline_stands_in_the_table_too(asked: FlaskClient) -> None:
    share = re.search(r'class="headline"><strong>([^<]+)<', asked.get("/survival").text)
    assert share and f"<strong>{share[1]}</strong>" in asked.get("/survival/groups").text.partition('id="table"')[2]


def test_fates_add_up_to_what_was_planted(asked: FlaskClient) -> None:
    told = words(asked.get("/survival").text.partition('class="fates"')[2].partition("</table>")[0].join(["<main>", ""]))
    counts = [int(n) for n in re.findall(r"(?:alive|dead|missing|planting) (\d+) [\d.]+%", told)]
    planted = re.search(r"planted (\d+) *$", told.strip())
    assert planted and sum(counts) == int(planted[1]) == 14


def test_both_treatments_are_drawn_and_named_for_every_group(asked: FlaskClient) -> None:
    page = asked.get("/survival/groups?by=plot").text
    panels = page.count('<figure class="panel">')
    assert panels >= 1 and page.count('class="name small lost"') == page.count('class="name small open"') == panels


@pytest.mark.parametrize("estimate", ["npmle", "found", "round"])
def test_every_estimate_is_told_with_what_it_means(asked: FlaskClient, estimate: str) -> None:
    answer = asked.get(f"/survival?estimate={estimate}")
    assert answer.status_code == 200 and f'<option value="{estimate}" selected>' in answer.text


def test_what_was_chosen_is_said_in_words(asked: FlaskClient) -> None:
    page = asked.get("/survival?site=Amo&cohort=2024-03-01&as_of=2025-01-31").text
    assert "Shown: Amo · 1 Mar 2024 · as of 31 Jan 2025" in words(page)


def test_a_filter_that_no_coral_meets_gives_no_figure_and_says_so(asked: FlaskClient) -> None:
    assert "No figure can be told yet" in asked.get("/survival?site=Nowhere").text


def test_what_was_seen_after_the_day_asked_for_is_not_looked_at(asked: FlaskClient) -> None:
    told = words(asked.get("/survival?as_of=2024-06-30").text)
    assert "missing 1 7.1%" not in told and "found dead 1 7.1%" in told


def test_an_age_can_be_asked_for(asked: FlaskClient) -> None:
    assert "alive 6 months after outplanting" in words(asked.get("/survival?age=182").text)


def test_the_table_as_csv_holds_every_age_and_both_treatments(asked: FlaskClient) -> None:
    rows = list(csv.DictReader(StringIO(asked.get("/survival.csv?by=plot").text)))
    held = {(row["treatment"], row["age_days"]) for row in rows}
    assert {(treatment, age) for treatment in ("missing_lost", "missing_open") for age in ("182", "365")} <= held


def test_the_csv_is_a_file_to_keep(asked: FlaskClient) -> None:
    answer = asked.get("/survival.csv")
    assert (answer.mimetype, answer.headers["Content-Disposition"]) == ("text/csv", 'attachment; filename="survival.csv"')


def test_the_csv_is_of_what_the_page_shows(asked: FlaskClient) -> None:
    page = asked.get("/survival/groups?by=genotype&as_of=2024-06-30").text
    assert 'href="/survival.csv?by=genotype&amp;as_of=2024-06-30"' in page


def test_few_corals_are_marked(tmp_path: Path) -> None:
    made = Reef({"A": 3})
    for day in ("2024-06-01", "2025-03-01"):
        book = made.dive("KT", day)
        for tag in ("101", "102", "103"):
            made.see(book, tag)
    client = create_app(base_of(tmp_path / "base", made.entries(), [made.protocol])).test_client()
    assert "Only 3 corals were at risk" in words(client.get("/survival").text)
    assert "†" in client.get("/survival/groups").text


def test_limits_from_few_plots_are_marked_on_the_page_and_in_its_headline(asked: FlaskClient) -> None:
    assert "The limits rest on" in words(asked.get("/survival").text)
    assert "‡" in asked.get("/survival/groups").text


def test_what_was_made_ready_is_not_computed_when_the_page_is_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    made = ten_corals()
    app = create_app(base_of(tmp_path / "base", made.entries(), [made.protocol]))
    make_ready(app)
    monkeypatch.setitem(make_ready.__globals__, "answer", None)  # who computes now fails
    monkeypatch.setitem(make_ready.__globals__, "known_labels", None)
    assert app.test_client().get("/survival").status_code == 200


def test_every_fold_leads_to_a_page_of_its_own_with_the_same_choices(asked: FlaskClient) -> None:
    page = asked.get("/survival?site=Amo").text
    folds = re.findall(r'id="part-(\w+)".*?class="own-page" href="([^"]+)"', page, re.DOTALL)
    assert [name for name, _ in folds] == ["groups", "matrix", "ranking", "causes", "period", "effort"]
    for name, address in folds:
        own = asked.get(address)
        assert (own.status_code, f'id="part-{name}"' in own.text, "Shown: Amo" in words(own.text)) == (200, True, True)


def test_every_fate_leads_to_its_corals(asked: FlaskClient) -> None:
    page = asked.get("/survival").text
    address = re.search(r'href="([^"]+)">missing<', page)
    assert address and re.search(r"1 coral .* 102 ", words(asked.get(address[1]).text))


def test_a_range_that_settling_could_move_is_told_with_the_way_to_settle(tmp_path: Path) -> None:
    made = ten_corals()
    other = made.dive("RS", "2025-03-01")
    made.see(other, "112", "dead")
    page = create_app(base_of(tmp_path / "base", made.entries(), [made.protocol])).test_client().get("/survival").text
    assert re.search(r"The state of 1 coral is in dispute .* stays within [\d.]+–[\d.]+%", words(page))
    assert 'href="/matters"' in page and "unsettled=1" in page


def test_what_an_address_says_is_never_markup(asked: FlaskClient) -> None:
    for path in ("/survival", "/survival/groups", "/survival/ranking", "/survival/corals"):
        page = asked.get(path, query_string={"site": "<script>alert(1)</script>"}).text
        assert "<script>alert" not in page and "&lt;script&gt;alert" in page


def test_a_name_that_is_markup_is_escaped(tmp_path: Path) -> None:
    made = Reef({"<b>A</b>": 3})
    made.see(made.dive("KT", "2024-06-01"), "101", plot="<b>A</b>")
    client = create_app(base_of(tmp_path / "base", made.entries(), [made.protocol])).test_client()
    page = client.get("/survival/groups?by=plot").text + client.get("/survival/corals").text
    assert "<b>A</b>" not in page and "&lt;b&gt;A&lt;/b&gt;" in page


@pytest.mark.parametrize(
    "address",
    [
        "/survival?estimate=guess",
        "/survival/groups?by=colour",
        "/survival/groups?age=old",
        "/survival/ranking?by=site",
        "/survival/causes?by=colour",
        "/survival/period?from=yesterday",
        "/survival/period?from=2025-01-01&until=2024-01-01",
        "/survival/effort?difference=120",
        "/survival/effort?power=all",
        "/survival/corals?fate=lost",
        "/survival/corals?why=so",
        "/survival/corals?page=0",
        "/survival.csv?by=colour",
    ],
)
def test_a_word_that_is_not_known_is_told_and_what_would_do(asked: FlaskClient, address: str) -> None:
    answer = asked.get(address)
    assert answer.status_code == 400 and re.search(r"This was not understood .{20,}", words(answer.text))
