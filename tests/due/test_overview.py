"""What is due on a small reef, read from a base: plots and their visits, hands, events, draws, and what undoes them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from fieldkit.base import Base, Statement
from fieldkit.due import Due, PlotDue, carried, due
from fieldkit.due.drawing import draws, draws_made, statements, undone
from fieldkit.due.errors import DueError
from fieldkit.due.events import event_statement, event_taken_back
from fieldkit.due.tending import Given, taken_back, tended_in, tending
from tests.support.programme import Reef, base_of, name

# Planted on 2024-03-01: month 1 is open from day 21 to 45, month 3 from day 75 to 120 (common practice, no source).
MONTH_1 = date(2024, 3, 30)
AFTER_IT = date(2024, 4, 30)
Made = Callable[[Reef], Base]


@pytest.fixture
def made(tmp_path: Path) -> Made:
    return lambda reef: base_of(tmp_path / "base", reef.entries(), [reef.protocol])


def asked(base: Base, day: date, **more: Any) -> Due:
    with base.view() as view:
        return due(view, Reef().protocol, day, **more)


def plot(found: Due, called: str) -> PlotDue:
    return next(one for one in found.plots if one.called == called)


def states(found: Due) -> dict[str, str]:
    return {one.called: one.visit.state for one in found.plots if one.visit}


def hands(base: Base, day: date = AFTER_IT) -> dict[str, list[str]]:
    found = asked(base, day)
    return {coral.called: [need.hand for need in coral.needs] for one in found.plots for coral in one.corals_in_need}


def reef_with(*rows: dict[str, Any], day: str = "2024-03-28") -> Reef:
    reef = Reef()
    dive = reef.dive("KT", day)
    for number, values in enumerate(rows, 101):
        reef.see(dive, str(number), **values)
    return reef


def test_a_plot_that_was_seen_in_the_window_is_done_and_the_other_is_due_then_overdue(made: Made) -> None:
    base = made(reef_with({}, {}, {}))
    assert [states(asked(base, day)) for day in (MONTH_1, AFTER_IT)] == [{"B": "due"}, {"B": "overdue"}]


def test_what_was_noted_after_the_day_asked_about_is_not_looked_at(made: Made) -> None:
    base = made(reef_with({"attachment": "loose"}))
    assert states(asked(base, date(2024, 3, 27))) == {"A": "due", "B": "due"}
    assert hands(base, date(2024, 3, 27)) == {}


def test_a_dive_that_ended_before_half_of_a_plot_was_read_was_no_visit(made: Made) -> None:
    left = {"status": None, "searched": "no"}
    base = made(reef_with({}, left, left))
    assert states(asked(base, MONTH_1)) == {"A": "due", "B": "due"}


def test_a_plot_that_is_not_followed_is_never_overdue(made: Made) -> None:
    reef = Reef()
    reef.lead("desk").say("plot", {"plot": reef.plot("B"), "followed": "no"})
    found = asked(made(reef), AFTER_IT)
    assert states(found) == {"A": "overdue"} and (found.followed, found.others) == (1, 1)
    assert plot(found, "B").coming is None


def test_a_plot_whose_corals_are_all_dead_or_looked_for_twice_in_vain_is_not_due(made: Made) -> None:
    reef = reef_with({"status": "dead"}, {"status": "missing"}, {"status": "missing"})
    again = reef.dive("RS", "2024-05-20")
    for tag in ("102", "103"):
        reef.see(again, tag, "missing")
    assert "A" not in states(asked(made(reef), date(2024, 8, 20)))


def test_corals_of_several_planting_days_each_have_their_own_windows(made: Made) -> None:
    reef = Reef({"A": 1})
    later = Reef._book(reef, reef.dive("KT", "2024-05-01"))
    later.say("planting", {"row": name("coral", "x"), "plot": reef.plot("A"), "tag": "901", "genotype": name("genotype")})
    found = plot(asked(made(reef), date(2024, 5, 25)), "A")
    assert [(visit.state, visit.window.label[""], str(visit.window.since)) for visit in found.visits] == [
        ("due", "month 1", "2024-05-01"),
        ("due", "month 3", "2024-03-01"),
        ("coming", "month 3", "2024-05-01"),
        ("coming", "month 6", "2024-03-01"),
    ]


def test_corals_without_a_planting_day_have_no_schedule_and_are_counted(made: Made) -> None:
    reef = Reef({"A": 1})
    reef.lead("desk").say("coral", {"coral": name("coral", "old"), "plot": reef.plot("A")})
    assert asked(made(reef), MONTH_1).undated == 1


def test_counted_plots_are_due_as_tagged_ones_are(made: Made) -> None:
    reef = Reef({})
    lead = reef.lead("desk")
    lead.say("plot", {"plot": name("plot", "C"), "site": reef.site, "name": "C", "recorded_as": "counted"})
    planting = reef.dive("KT", "2024-03-01")
    planting.say("planting", {"row": name("c"), "plot": name("plot", "C"), "genotype": name("genotype"), "count": "12"})
    found = plot(asked(made(reef), MONTH_1), "C")
    assert (found.visit and found.visit.state, found.corals) == ("due", 12)


def test_a_hand_is_needed_until_it_is_written_down_as_given_and_again_when_that_is_taken_back(made: Made) -> None:
    base = made(reef_with({"attachment": "loose"}, {"competition": ["turf"]}))
    assert hands(base) == {"101": ["reattach"], "102": ["clean"]}
    given = [Given(name("coral", "101"), "reattach"), Given(name("coral", "102"), "clean")]
    with base.view() as view:
        said, about = tending(view, given, day=date(2024, 4, 2), today=AFTER_IT, once=name("form"))
    session = base.say(said, recorder="EA", about=about)[0].session
    assert about == {"day": "2024-04-02", "site": name("site")} and hands(base) == {}
    assert hands(base, date(2024, 4, 1)) == {"101": ["reattach"], "102": ["clean"]}
    with base.view() as view:
        assert tending(view, given, day=date(2024, 4, 2), today=AFTER_IT, once=name("form"))[0] == []
        back = taken_back(entry for entry, _ in tended_in(view, session))
    base.say(back)
    assert hands(base) == {"101": ["reattach"], "102": ["clean"]}


def test_an_action_from_a_phone_closes_it_as_well_for_a_coral_or_for_all_of_its_plot(made: Made) -> None:
    reef = reef_with({"attachment": "loose", "competition": ["turf"]}, {"competition": ["turf"]})
    dive = reef.dive("RS", "2024-04-02")
    dive.say("action", {"row": name("a1"), "coral": reef.coral("101"), "done": ["reattached", "other"]})
    dive.say("action", {"row": name("a2"), "plot": reef.plot("A"), "done": "cleaned"})
    assert hands(made(reef)) == {}


def test_a_new_tag_that_was_hung_is_worn_from_that_day(made: Made) -> None:
    base = made(reef_with({"tag_state": "absent"}))
    with base.view() as view:
        said, about = tending(
            view, [Given(name("coral", "101"), "new_tag", tag=" X9 ")], day=date(2024, 4, 2), today=AFTER_IT, once=name("form")
        )
    base.say(said, about=about)
    with base.view() as view:
        assert view.corals_tagged("x9") == {name("coral", "101")}
    assert hands(base) == {}


@pytest.mark.parametrize(
    ("given", "day", "key"),
    [
        ([], MONTH_1, "due.nothing_chosen"),
        ([Given(name("coral", "101"), "reattach")], date(2030, 1, 1), "due.done_later"),
        ([Given(name("nobody"), "reattach")], MONTH_1, "due.no_coral"),
        ([Given(name("coral", "101"), "work_last")], MONTH_1, "due.no_coral"),
        ([Given(name("coral", "101"), "new_tag", tag="  ")], MONTH_1, "due.no_tag"),
    ],
)
def test_what_cannot_have_been_done_is_refused_with_its_reason(made: Made, given: list[Given], day: date, key: str) -> None:
    with made(Reef()).view() as view, pytest.raises(DueError) as refused:
        tending(view, given, day=day, today=AFTER_IT, once=name("form"))
    assert [fault.key for fault in refused.value.faults] == [key]


def test_a_storm_opens_a_visit_of_the_plots_that_stood_there_and_is_taken_back(made: Made) -> None:
    """Within 2-4 weeks after a storm: common practice, no source."""
    base = made(reef_with({}, {}, {}))
    day = date(2024, 5, 1)
    with base.view() as view:
        said = event_statement(
            view, name("storm"), what="storm", since=date(2024, 4, 28), until=date(2024, 4, 29), sites=[name("site")], today=day
        )
    base.say([said])
    found = plot(asked(base, day), "A")
    assert [(v.state, v.window.event, str(v.window.closes)) for v in found.visits if v.window.event] == [
        ("due", name("storm"), "2024-05-27")
    ]
    assert states(asked(base, date(2024, 4, 27))) == {"B": "overdue"}  # before it, nobody knew
    with base.view() as view:
        base_says = event_taken_back(view, name("storm"))
    base.say(base_says)
    assert asked(base, day).events == () and states(asked(base, day)) == {"B": "overdue"}


@pytest.mark.parametrize(
    ("given", "key"),
    [
        ({"what": "flood"}, "due.no_such_event"),
        ({"since": None}, "due.no_first_day"),
        ({"since": date(2024, 5, 2), "until": None}, "due.event_to_come"),
        ({"until": date(2024, 4, 1)}, "due.ends_before"),
        ({"sites": []}, "due.no_sites"),
        ({"sites": [name("nowhere")]}, "due.no_such_site"),
    ],
)
def test_an_event_that_cannot_be_is_refused_with_its_reason(made: Made, given: dict[str, Any], key: str) -> None:
    said = {"what": "storm", "since": date(2024, 4, 28), "until": None, "sites": [name("site")], **given}
    with made(Reef()).view() as view, pytest.raises(DueError) as refused:
        event_statement(view, name("storm"), today=date(2024, 5, 1), **said)
    assert [fault.key for fault in refused.value.faults] == [key]


def test_a_draw_is_written_down_can_be_drawn_again_and_undone(made: Made) -> None:
    base = made(Reef({"A": 1, "B": 1, "C": 1}))
    with base.view() as view:
        (draw,) = draws(due(view, Reef().protocol, MONTH_1).plots, seed="reef", each=1)
        said = statements(view, [draw], day="2024-03-30", id_of=lambda _: name("draw"))
    session = base.say(said, recorder="EA")[0].session
    found = asked(base, MONTH_1)
    assert [one.id for one in found.plots if one.is_followed] == list(draw.plots) and found.others == 2
    with base.view() as view:
        (kept,) = draws_made(view)
        (again,) = draws(due(view, Reef().protocol, MONTH_1).plots, seed=kept.seed, each=kept.each)
        assert (kept.plots, kept.others, kept.who) == (again.plots, again.others, "EA")
        back = undone(view, session)
    base.say(back)
    with base.view() as view:
        assert draws_made(view) == [] and all(said.get("followed") is None for said in view.things("plot").values())


def test_a_plot_mended_after_the_draw_stays_as_mended_when_the_draw_is_undone(made: Made) -> None:
    base = made(Reef({"A": 1, "B": 1}))
    with base.view() as view:
        found = draws(due(view, Reef().protocol, MONTH_1).plots, seed="reef", each=1)
        said = statements(view, found, day="2024-03-30", id_of=lambda _: name("draw"))
    entries = base.say(said)
    drawn = next(entry for entry in entries if entry.kind == "plot" and entry.values["followed"] == "yes")
    base.say([Statement("plot", {**drawn.values, "note": "kept"}, (drawn.digest,))])
    with base.view() as view:
        back = undone(view, entries[0].session)
    base.say(back)
    with base.view() as view:
        assert view.things("plot")[drawn.values["plot"]]["note"] == "kept"


def test_a_trip_carries_slates_for_what_is_read_and_something_for_each_hand(made: Made) -> None:
    base = made(reef_with({"attachment": "loose"}, {"disease": ["tissue_loss"], "competition": ["turf"]}))
    found = asked(base, AFTER_IT)
    assert carried(found.plots) == {"slates": 2, "reattach": 1, "clean": 1, "work_last": 1}
    assert plot(found, "A").is_diseased and not plot(found, "B").is_diseased


def test_only_the_plots_of_one_site_where_it_is_asked_so(made: Made) -> None:
    base = made(Reef())
    assert [len(asked(base, MONTH_1, site=site).plots) for site in (None, name("site"), name("nowhere"))] == [2, 2, 0]


def test_the_sample_programme_shows_visits_hands_and_what_its_sessions_took(sample: Path) -> None:
    with Base(sample).view() as view:
        found = due(view, Reef().protocol, date(2026, 11, 11))
    assert {one.called for one in found.in_state("due")} >= {"PAN-11"}  # its slate still lies in the boat
    assert {"reattach", "clean", "remove_predators", "work_last"} <= found.hands.keys()
    assert {one.minutes.known_by for one in found.plots if one.minutes} == {"sessions", "protocol"}
    assert [event.what for event in found.events] == ["heat"]
