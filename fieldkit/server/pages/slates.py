"""Planning a boat day with its crew and numbered sheets, and printing slates for it or without it.

What is planned is which plots are worked and which sheets go out, never a dive.
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, timedelta
from typing import Any

from flask import Blueprint, Response, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from fieldkit import messages
from fieldkit.base import Base, Statement, View
from fieldkit.ledger import new_id
from fieldkit.reports.sheets import crew_of, next_sheets
from fieldkit.server.address_code import TLS_PORT
from fieldkit.server.asked import Asked
from fieldkit.server.current import current_base, current_reach
from fieldkit.server.discovery import lasting_name
from fieldkit.server.errors import RequestError
from fieldkit.server.language import reader
from fieldkit.server.printing import Wanted, plots_to_print, register, wanted_slates
from fieldkit.server.signature import signature, signed, signer
from fieldkit.server.visitor import known_visitor
from fieldkit.slates import PAPERS, as_pdf, sheets_needed

pages = Blueprint("slates", __name__)

SEEN = ("as_protocol", "blind", "seen")
_BLIND: Mapping[str, bool | None] = {"as_protocol": None, "blind": True, "seen": False}
MOST_CREW = 200
"""Signs of the crew's initials: more people than any boat takes. Chosen by us."""
DAYS_SHOWN = 7
"""Boat days of the last week can be printed anew. Chosen by us."""


@pages.get("/slates")
def show() -> str:
    """The sites to choose from; of the chosen one, its plots; and the boat days that are planned."""
    base = current_base()
    with base.view() as view:
        known = register(base, view)
        people = sorted(str(said.get("initials") or said.get("name") or "") for said in view.things("person").values())
        boat_days = _planned(view)
    sites = [site for site in known["sites"] if plots_to_print(known["plots"], site["site"])]
    chosen = next((site for site in sites if site["site"] == request.args.get("site")), sites[0] if len(sites) == 1 else None)
    return render_template(
        "slates.html",
        sites=sites,
        chosen=chosen,
        plots=plots_to_print(known["plots"], chosen["site"]) if chosen else [],
        boat_days=boat_days,
        done=request.args.get("done"),
        people=", ".join(filter(None, people)),
        tomorrow=date.today() + timedelta(days=1),
        papers=tuple(PAPERS),
        paper=request.args.get("paper", ""),
        seen=SEEN,
        most_crew=MOST_CREW,
        who=signer(),
        may_plan=known_visitor().may("slates.plan", reads=False),
    )


@pages.post("/slates/plan")
def plan() -> AnyResponse:
    """Write down what is taken out, with a number for every sheet that the paper needs, and the plot of each."""
    base, who = current_base(), signature()
    wanted, paper = _wanted(request.form, base)
    if wanted.day is None or not wanted.plots:
        raise RequestError.of("slates.plan_lacks")
    with base.view() as view:
        drawn = wanted_slates(base, view, wanted)
        ids = {str(view.things("plot")[plot].get("name", "")): plot for plot in wanted.plots}
        needed = zip(drawn, sheets_needed(drawn, PAPERS[paper]), strict=True)
        sheet_plots = [ids[slate.plot] for slate, sheets in needed for _ in range(sheets)]
        sheets = next_sheets(view, len(sheet_plots))
        crew = crew_of(view, _crew(request.form.get("crew", "")))
    id_ = new_id(time.time_ns() // 1_000_000)
    said = {"boat_day": id_, "day": wanted.day.isoformat(), "site": wanted.site, "plots": list(wanted.plots)}
    base.say([Statement("boat_day", {**said, "crew": crew, "sheets": sheets, "sheet_plots": sheet_plots})], recorder=who)
    then = url_for("slates.show", site=wanted.site, done=id_, paper=paper, _anchor="planned")
    return signed(redirect(then, 303), who)


@pages.get("/slates/print")
def print_site() -> Response:
    """Slates without a plan: every plot of a site, or those that are named; each sheet has room for its number."""
    base = current_base()
    wanted, paper = _wanted(request.args, base)
    return _pdf(base, wanted, paper, ())


@pages.get("/slates/<id_>.pdf")
def print_day(id_: str) -> Response:
    """The sheets of a boat day, with their numbers."""
    base = current_base()
    with base.view() as view:
        said = view.things("boat_day").get(id_)
    if said is None:
        abort(404)
    given = {**request.args, "site": said.get("site", ""), "day": said.get("day", "")}
    wanted, paper = _wanted(given, base, said.get("plots", ()))
    return _pdf(base, wanted, paper, said.get("sheets", ()))


def _pdf(base: Base, wanted: Wanted, paper: str, numbers: Iterable[str]) -> Response:
    with base.view() as view:
        found = wanted_slates(base, view, wanted)
    drawn = as_pdf(found, PAPERS[paper], title=f"{base.programme_name}, {found[0].site}", numbers=numbers)
    answer = Response(drawn.pdf, mimetype="application/pdf")
    answer.headers["Content-Disposition"] = 'inline; filename="slates.pdf"'
    return answer


def _wanted(given: Mapping[str, str], base: Base, plots: Sequence[str] | None = None) -> tuple[Wanted, str]:
    """What a form or an address asks for, and the paper.

    Raises:
        RequestError: names every word and value that is not known.
    """
    asked = Asked(given)
    paper = asked.one_of("paper", tuple(PAPERS), "slates.no_paper")
    seen = asked.one_of("seen", SEEN, "slates.no_seen")
    language = asked.one_of("language", (reader().language, *messages.LANGUAGES), "slates.no_language")
    day = asked.day("day")
    asked.done()
    chosen = request.values.getlist("plot") if plots is None else plots
    reach = current_reach()
    address = reach.page() if reach else f"https://{lasting_name(base.id)}.local:{TLS_PORT}/enter"
    return Wanted(given.get("site", ""), tuple(chosen), language, address, day, _BLIND[seen]), paper


def _crew(given: str) -> list[str]:
    if len(given) > MOST_CREW:
        raise RequestError.of("slates.crew_too_long", most=MOST_CREW)
    return list(dict.fromkeys(one for part in given.split(",") if (one := part.strip())))


def _planned(view: View) -> list[dict[str, Any]]:
    """Boat days from a week ago on, the latest first, with their sites' and plots' names."""
    names = {id_: str(said.get("name", "")) for kind in ("site", "plot") for id_, said in view.things(kind).items()}
    first = (date.today() - timedelta(days=DAYS_SHOWN)).isoformat()
    found = [
        {
            "id": id_,
            "day": said["day"],
            "site": names.get(said.get("site", ""), ""),
            "plots": [names.get(plot, plot) for plot in said.get("plots", ())],
            "sheets": list(said.get("sheets", ())),
        }
        for id_, said in view.things("boat_day").items()
        if str(said.get("day", "")) >= first
    ]
    return sorted(found, key=lambda one: (one["day"], one["id"]), reverse=True)
