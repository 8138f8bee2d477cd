"""What is due, planned, tended, drawn and what happened, as commands: what they say, and what takes it back."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import gpxpy
import pytest

from fieldkit.base import Base, Statement
from tests.cli.terminal import typed
from tests.support.programme import Reef, name

NOT_DIVES = "fieldkit plans work, not dives"


@pytest.fixture
def loose(reef: Path) -> Path:
    """The reef with coral 101 loose on 2 September 2024, and a position of its site."""
    made = Reef()
    row = {"row": name("loose"), "plot": made.plot("A"), "coral": made.coral("101"), "status": "alive", "attachment": "loose"}
    said = {"site": made.site, "day": "2024-09-20", "protocol": made.protocol.digest}
    base = Base(reef)
    base.say([Statement("observation", row)], recorder="KT", about=said)
    base.say([Statement("site", {"site": made.site, "latitude": "-6.9", "longitude": "167.9"})])
    return reef


def needs(base: Path, day: str = "2024-12-01") -> list[tuple[str, str]]:
    plots = typed(base, "due", "--day", day, "--json").json["plots"]
    return [(one["name"], one["hand"]) for plot in plots for one in plot["needs"]]


def plots(base: Path, day: str) -> dict[str, Any]:
    told = typed(base, "due", "--day", day, "--json").json
    return {plot["name"]: [(v["state"], v.get("round"), v["closes"]) for v in plot["visits"]] for plot in told["plots"]}


def test_the_list_tells_visits_and_hands_and_that_it_plans_no_dives(loose: Path) -> None:
    told = typed(loose, "due", "--day", "2024-09-25", "--site", "amo")
    assert told.code == 0 and all(one in told.out for one in ("month 6", "101", "reattach", "attachment=loose", NOT_DIVES))


def test_json_gives_windows_by_plot(loose: Path) -> None:
    """Month 6 is open from day 150 to 215: common practice, no source."""
    assert plots(loose, "2024-09-25")["B"][0] == ("due", "month 6", "2024-10-02")
    assert plots(loose, "2024-10-03")["B"][0] == ("overdue", "month 6", "2024-10-02")
    assert plots(loose, "2024-10-03")["A"][0] == ("coming", "month 12", "2025-04-15")


def test_what_was_tended_closes_the_item_until_it_is_taken_back(loose: Path) -> None:
    assert needs(loose) == [("101", "reattach")]
    told = typed(loose, "tended", "reattach", "101", "--day", "2024-09-21", "--by", "EA")
    assert (told.code, needs(loose)) == (0, [])
    session = told.out.split("undo ")[1].split("”")[0]
    assert typed(loose, "tended", "undo", session).code == 0 and needs(loose) == [("101", "reattach")]
    assert typed(loose, "tended", "undo", session).code == 2


def test_an_event_opens_visits_until_it_is_taken_back(loose: Path) -> None:
    told = typed(loose, "event", "storm", "--site", "Amo", "--from", "2024-10-20", "--until", "2024-10-21")
    assert ("due", None, "2024-11-18") in plots(loose, "2024-10-25")["A"]
    event = told.out.split("undo ")[1].split("”")[0]
    assert typed(loose, "event", "undo", event).code == 0
    assert ("due", None, "2024-11-18") not in plots(loose, "2024-10-25")["A"]


def test_a_draw_is_shown_written_and_undone(loose: Path) -> None:
    def followed() -> int:
        return int(typed(loose, "due", "--day", "2024-12-01", "--json").json["followed"])

    draw = ("draw", "--each", "1", "--seed", "reef")
    assert "Nothing is written down" in typed(loose, *draw).out and followed() == 2
    told = typed(loose, *draw, "--write", "--by", "EA")
    assert followed() == 1
    assert typed(loose, "draw", "--undo", told.out.split("--undo ")[1].split("”")[0]).code == 0 and followed() == 2


def test_a_plan_is_told_and_goes_along_as_waypoints(loose: Path, tmp_path: Path) -> None:
    file = tmp_path / "day.gpx"
    told = typed(loose, "plan", "--day", "2024-09-25", "--dives", "1", "--minutes", "30", "--gpx", file)
    assert told.code == 0 and "Slates for" in told.out and NOT_DIVES in told.out
    (point,) = gpxpy.parse(file.read_text("utf-8")).waypoints
    assert (point.name, point.latitude, point.longitude) == ("Amo", -6.9, 167.9)
    plan = typed(loose, "plan", "--day", "2024-09-25", "--dives", "1", "--minutes", "1", "--json").json
    assert plan["dives"] == [] and {one["why"] for one in plan["left"]} == {"too_long"}


@pytest.mark.parametrize(
    "words",
    [
        ("due", "--day", "soon"),
        ("due", "--site", "Nowhere"),
        ("draw",),
        ("draw", "--undo", "nothing"),
        ("event", "storm", "--site", "Amo"),
        ("event", "undo", "nothing"),
        ("tended", "new_tag", "101"),
        ("tended", "reattach", "999"),
        ("tended", "reattach", "101", "--day", "2999-01-01"),
        ("plan", "--dives", "0"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_written(loose: Path, words: tuple[str, ...]) -> None:
    with Base(loose).view() as view:
        before = view.ledger.newest_place
    assert typed(loose, *words).code == 2
    with Base(loose).view() as view:
        assert view.ledger.newest_place == before
