"""What is due, what needs a hand, and a plan of work for a day; and what a lead writes down: what was done, events, draws.

It plans work, not dives: the page says so, wherever it is printed.
"""

from __future__ import annotations

import secrets
import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from flask import Blueprint, Response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from fieldkit.base import SayError, View, monitoring_protocol
from fieldkit.due import DONE, DayPlan, Due, carried, day_plan, due
from fieldkit.due.drawing import draws, draws_made, statements, undone
from fieldkit.due.events import event_statement, event_taken_back
from fieldkit.due.tending import Given, taken_back, tended_in, tending
from fieldkit.ledger import derived_id, is_id, new_id
from fieldkit.protocol import Protocol
from fieldkit.protocol.protocol import EVENTS
from fieldkit.reports.programme.things import names_of
from fieldkit.server.asked import Asked
from fieldkit.server.current import current_base, current_names
from fieldkit.server.due_words import DueWords
from fieldkit.server.errors import RequestError
from fieldkit.server.signature import signature, signed, signer
from fieldkit.server.visitor import known_visitor
from fieldkit.slates import PAPERS

pages = Blueprint("due", __name__)

DIVES, MINUTES = 2, 40
"""What a plan is made for until somebody says otherwise. Chosen by us; no limit follows from it."""
MOST_DIVES, MOST_MINUTES = 12, 600
MOST_EACH = 1000
MOST_SEED = 100


@pages.get("/due")
def show() -> str:
    """What is due as of a day, and what needs a hand."""
    asked = Asked(request.args)
    day, site = asked.day("day") or date.today(), asked.given.get("site", "")
    asked.done()
    with current_base().view() as view:
        protocol = _protocol(view)
        if protocol is None:
            return render_template("due/none.html")
        done = request.args.get("done", "")
        return render_template(
            "due/due.html",
            **_common(view, protocol, due(view, protocol, day, site=site or None), site),
            done=done if is_id(done) and tended_in(view, done) else "",
            once=new_id(_now()),
            events=EVENTS,
        )


@pages.get("/due/plan")
def plan() -> str:
    """A plan of work for a day of so many dives and minutes."""
    asked = _plan_asked()
    with current_base().view() as view:
        protocol = _protocol(view)
        if protocol is None:
            return render_template("due/none.html")
        found, made = _planned(view, protocol, asked)
        plots = {plot.id: plot for plot in found.plots}
        return render_template(
            "due/plan.html",
            **_common(view, protocol, found, asked.site),
            plan=made,
            plots=plots,
            wanted=asked,
            carried=carried(plots[job.plot] for job in made.jobs),
            papers=tuple(PAPERS),
            may_plan=known_visitor().may("slates.plan", reads=False),
        )


@pages.get("/due/plan.gpx")
def waypoints() -> Response:
    """The sites of a plan as waypoints, in the order of the day."""
    asked = _plan_asked()
    with current_base().view() as view:
        protocol = _protocol(view)
        if protocol is None:
            raise RequestError.of("due.no_protocol")
        found, made = _planned(view, protocol, asked)
        gpx = _words(view, protocol).gpx(made, {plot.id: plot for plot in found.plots}, view.things("site"), asked.day)
    answer = Response(gpx, mimetype="application/gpx+xml")
    answer.headers["Content-Disposition"] = f'attachment; filename="plan-{asked.day.isoformat()}.gpx"'
    return answer


@pages.post("/due/tended")
def tended() -> AnyResponse:
    """Write down what was done; sent twice it is written once."""
    base, who, once = current_base(), signature(), request.form.get("once", "")
    asked = Asked(request.form)
    day = asked.day("day")
    asked.done()
    if day is None or not is_id(once):
        raise RequestError.of("due.no_day_done")
    with base.view() as view:
        said, about = tending(view, _given(), day=day, today=date.today(), once=once)
    session = base.say(said, recorder=who, about=about)[0].session if said else None
    return signed(redirect(url_for("due.show", site=request.form.get("site") or None, done=session, _anchor="hands"), 303), who)


@pages.post("/due/tended/<session>/undo")
def undo_tended(session: str) -> AnyResponse:
    """Take back what was written down as done."""
    base, who = current_base(), signature()
    with base.view() as view:
        said = taken_back(entry for entry, _ in tended_in(view, session))
    return _say_back(said, who)


@pages.post("/due/events")
def add_event() -> AnyResponse:
    """Write down a storm, a heat wave …"""
    base, who, once = current_base(), signature(), request.form.get("once", "")
    asked = Asked(request.form)
    since, until = asked.day("from"), asked.day("until")
    asked.done()
    if not is_id(once):
        raise RequestError.of("programme.nothing_to_do")
    with base.view() as view:
        said = event_statement(
            view,
            derived_id("event", once),
            what=request.form.get("what", ""),
            since=since,
            until=until,
            sites=request.form.getlist("site"),
            today=date.today(),
        )
        is_new = said.values["event"] not in view.things("event")
    if is_new:
        base.say([said], recorder=who)
    return signed(redirect(url_for("due.show", _anchor="events"), 303), who)


@pages.post("/due/events/<id_>/take-back")
def take_back_event(id_: str) -> AnyResponse:
    """There was no such event."""
    base, who = current_base(), signature()
    with base.view() as view:
        said = event_taken_back(view, id_)
    return _say_back(said, who)


@pages.get("/due/draw")
def draw() -> str:
    """What a draw would make of the plots, before it is written down; and those that were drawn."""
    asked = Asked(request.args)
    each, site, seed = asked.number("each", 2), asked.given.get("site", ""), asked.given.get("seed", "")[:MOST_SEED]
    asked.done()
    with current_base().view() as view:
        protocol = _protocol(view)
        if protocol is None:
            return render_template("due/none.html")
        found = due(view, protocol, date.today(), site=site or None)
        return render_template(
            "due/draw.html",
            **_common(view, protocol, found, site),
            plots=names_of(view, "plot"),
            followed={plot.id for plot in found.plots if plot.is_followed},
            drawn=draws(found.plots, seed=seed, each=each) if seed and each <= MOST_EACH else [],
            made=draws_made(view),
            each=each,
            seed=seed or f"{secrets.randbelow(10**8):08}",
        )


@pages.post("/due/draw")
def write_draw() -> AnyResponse:
    """Write a draw down: from now on the drawn plots are followed, and the others are not."""
    base, who = current_base(), signature()
    asked = Asked(request.form)
    each, site, seed = asked.number("each", 2), asked.given.get("site", ""), asked.given.get("seed", "")
    asked.done()
    if not 0 < len(seed) <= MOST_SEED or each > MOST_EACH:
        raise RequestError.of("due.no_seed", most=MOST_SEED)
    today = date.today()
    with base.view() as view:
        protocol = _protocol(view)
        if protocol is None:
            raise RequestError.of("due.no_protocol")
        found = draws(due(view, protocol, today, site=site or None).plots, seed=seed, each=each)
        said = statements(view, found, day=today.isoformat(), id_of=lambda _: new_id(_now()))
    base.say(said, recorder=who)
    return signed(redirect(url_for("due.draw", _anchor="made"), 303), who)


@pages.post("/due/draw/<session>/undo")
def undo_draw(session: str) -> AnyResponse:
    """Plots are followed as before the draw."""
    base, who = current_base(), signature()
    with base.view() as view:
        said = undone(view, session)
    return _say_back(said, who, "due.draw")


@dataclass(frozen=True)
class PlanAsked:
    """The day, and how many dives of how many minutes of work; `site`: only there."""

    day: date
    dives: int
    minutes: int
    site: str

    @property
    def address(self) -> dict[str, Any]:
        return {"day": self.day.isoformat(), "dives": self.dives, "minutes": self.minutes, "site": self.site or None}


def _plan_asked() -> PlanAsked:
    asked = Asked(request.args)
    found = PlanAsked(
        asked.day("day") or date.today(),
        min(asked.number("dives", DIVES), MOST_DIVES),
        min(asked.number("minutes", MINUTES), MOST_MINUTES),
        asked.given.get("site", ""),
    )
    asked.done()
    return found


def _planned(view: View, protocol: Protocol, asked: PlanAsked) -> tuple[Due, DayPlan]:
    found = due(view, protocol, asked.day, site=asked.site or None)
    jobs = [job for plot in found.plots if (job := plot.job)]
    return found, day_plan(jobs, dives=asked.dives, minutes=asked.minutes)


def _given() -> list[Given]:
    """The hands that were ticked: `coral hand`, each with what was filled in beside it."""
    found = []
    for ticked in request.form.getlist("given"):
        coral, _, hand = ticked.partition(" ")
        found.append(Given(coral, hand, tag=request.form.get(f"tag {coral}", "") if hand == "new_tag" else ""))
    return found


def _common(view: View, protocol: Protocol, found: Due, site: str) -> Mapping[str, Any]:
    words = _words(view, protocol)
    return {
        "found": found,
        "site": site,
        "sites": sorted(names_of(view, "site").items(), key=lambda one: one[1]),
        "words": words,
        "given_hands": DONE,
        "today": date.today(),
        "dives": DIVES,
        "minutes": MINUTES,
        "who": signer(),
        "may_write": known_visitor().may("due.tended", reads=False),
    }


def _words(view: View, protocol: Protocol) -> DueWords:
    names = current_names(view)
    # Others may call a field of that name differently.
    return DueWords(replace(names, protocols=(protocol, *names.protocols)), protocol)


def _protocol(view: View) -> Protocol | None:
    """The protocol whose schedule holds; None where none is adopted."""
    try:
        return monitoring_protocol(current_base(), view)
    except SayError:
        return None


def _say_back(said: Any, who: str, then: str = "due.show") -> AnyResponse:
    if not said:
        raise RequestError.of("programme.nothing_to_do")
    current_base().say(said, recorder=who)
    return signed(redirect(url_for(then), 303), who)


def _now() -> int:
    return time.time_ns() // 1_000_000
