"""Each kind of doubt from end to end: found, shown, settled by its one button, undone; and the same by command."""

from __future__ import annotations

import re
from collections.abc import Callable
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from fieldkit.base import Answer, Base, MatterRow, statement
from fieldkit.server import create_app
from tests.cli.terminal import typed
from tests.server.asking import token_of
from tests.support.programme import Reef, base_of, name

MAY, JUNE = "2024-05-01", "2024-06-01"


def boat_days(reef: Reef, *days: str, site: str | None = None) -> None:
    book = reef.lead(f"boat days {site}")
    for day in days:
        book.say("boat_day", {"boat_day": name("boat day", day, site), "day": day, "site": site or reef.site, "plots": []})


def wrong_day(said: str) -> Callable[[Reef], None]:
    def tell(reef: Reef) -> None:
        boat_days(reef, JUNE, "2024-08-20")
        reef.see(reef.dive("KT", said), "101")

    return tell


def wrong_site(reef: Reef) -> None:
    reef.lead("other site").say("site", {"site": name("other site"), "name": "Bel"})
    reef.see(reef.dive("KT", JUNE, site=name("other site")), "101")


def rows_swapped(reef: Reef) -> None:
    reef.see(reef.dive("KT", MAY), "101", "dead")
    reef.see(reef.dive("RS", MAY), "102")
    slate = reef.dive("KT", "2024-09-01")
    reef.see(slate, "101", line="1", size_cm="12")
    reef.see(slate, "102", "dead", line="2")


def of_another_plot(reef: Reef) -> None:
    dive = reef.dive("KT", JUNE)
    for tag in ("101", "102", "103", "201"):
        reef.see(dive, tag)


CASES: dict[str, tuple[Callable[[Reef], None], str, str, str, list[str]]] = {
    # what is told, the kind of matter, its reason, what the button says, the command
    "another month": (wrong_day("2024-09-01"), "date", "nobody_out", "It was on 1 Jun 2024", ["day", "--day", JUNE]),
    "another year": (wrong_day("2025-06-01"), "date", "nobody_out", "It was on 1 Jun 2024", ["day", "--day", JUNE]),
    "nobody out": (wrong_day("2024-12-24"), "date", "nobody_out", "It is right as it is", ["stands"]),
    "another site": (wrong_site, "site", "plots_of_other_site", "It was at Amo", ["site", "--site", "Amo"]),
    "rows swapped": (rows_swapped, "history", "rows_swapped", "The two were swapped", ["swap"]),
    "another plot": (of_another_plot, "tag", "tag_unknown", "It is 201 (B)", ["place", "--coral", "201"]),
}


@pytest.fixture(params=CASES)
def case(request: pytest.FixtureRequest) -> Any:
    return CASES[request.param]


def base(folder: Path, tell: Callable[[Reef], None]) -> Base:
    reef = Reef()
    tell(reef)
    return base_of(folder / "base", reef.entries(), [reef.protocol])


def asked(of: Base) -> list[tuple[str, str]]:
    with of.view() as view:
        return [(matter.kind, matter.why.key.removeprefix("settle.")) for matter in view.matters()]


def buttons(client: FlaskClient, matter: MatterRow) -> list[tuple[str, str]]:
    card = client.get("/matters").text.partition(f'id="m-{matter.id}"')[2].partition("</article>")[0]
    return [(unescape(says), unescape(text)) for says, text in re.findall(r'name="says" value="([^"]+)"[^>]*>([^<]+)<', card)]


def test_a_doubt_is_shown_settled_by_one_press_and_undone(tmp_path: Path, case: Any) -> None:
    tell, kind, why, press, _ = case
    made = base(tmp_path, tell)
    assert asked(made) == [(kind, why)]
    client = create_app(made).test_client()
    with made.view() as view:
        (matter,) = view.matters()
    said = next(says for says, text in buttons(client, matter) if text.startswith(press))
    given = {"token": token_of(client.get("/matters").text), "who": "EA", "says": said}
    page = client.get(client.post(f"/matters/{matter.id}/answer", data=given).headers["Location"]).text
    assert asked(made) == []
    client.post(f"/matters/{matter.id}/retract", data={"token": token_of(page), "who": "EA"})
    assert asked(made) == [(kind, why)]


def test_a_doubt_is_listed_settled_and_undone_by_commands(tmp_path: Path, case: Any) -> None:
    tell, kind, why, _, answer = case
    made = base(tmp_path, tell)
    (listed,) = typed(made.folder, "matters", "--json").json
    assert listed["kind"] == kind
    assert typed(made.folder, "rule", listed["id"], *answer).code == 0
    assert asked(made) == []
    assert typed(made.folder, "rule", listed["id"], "--retract").code == 0
    assert asked(made) == [(kind, why)]


@pytest.fixture
def differing(tmp_path: Path) -> Base:
    """Two leads at two bases settled one matter differently, and one base heard of both."""
    reef = Reef()
    for who, status in (("KT", "alive"), ("RS", "dead")):
        reef.see(reef.dive(who, JUNE), "101", status)
    one, other = (base_of(tmp_path / where, reef.entries(), [reef.protocol]) for where in ("one", "other"))
    for where, status in ((one, "alive"), (other, "dead")):
        with where.view() as view:
            said = statement(where, view, view.matters()[0], Answer("use", values={"status": status}))
        where.say([said], recorder="EA" if where is one else "NL")
    with other.view() as view:
        heard = list(view.ledger.all())
    one.receive(heard, source="other base")
    return one


def test_two_leads_who_differ_are_both_told_and_one_new_answer_settles_it(differing: Base) -> None:
    assert sorted(kind for kind, _ in asked(differing)) == ["double", "rulings_differ"]
    client = create_app(differing).test_client()
    page = client.get("/matters").text
    with differing.view() as view:
        double, differ = sorted(view.matters(), key=lambda matter: matter.kind)
    card = page.partition(f'id="m-{differ.id}"')[2].partition("</article>")[0]
    assert all(word in card for word in ("EA", "NL", "Alive", "Dead", f"/matters?matter={double.id}"))
    said = buttons(client, double)[0][0]
    client.post(f"/matters/{double.id}/answer", data={"token": token_of(page), "who": "EA", "says": said})
    assert asked(differing) == []


def test_the_command_names_the_matter_that_two_leads_answered_differently(differing: Base) -> None:
    with differing.view() as view:
        double, differ = sorted(view.matters(), key=lambda matter: matter.kind)
    assert f"Answer matter {double.id[:12]} anew" in typed(differing.folder, "matters", differ.id).out
