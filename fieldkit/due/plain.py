"""What is due, and a day's plan, for programs: days ISO 8601, ids as in entries. docs/commands.md describes both. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldkit.due.day_plan import DayPlan, Job
from fieldkit.due.overview import Due, PlotDue, carried
from fieldkit.due.schedule import Visit


def as_json(found: Due) -> dict[str, Any]:
    """The plots of which something is due, coming or in need of a hand; the most pressing first."""
    return {
        "day": found.day.isoformat(),
        "followed": found.followed,
        "others": found.others,
        "undated": found.undated,
        "events": [
            {"event": one.id, "what": one.what, "from": str(one.since), "until": str(one.until) if one.until else None}
            for one in found.events
        ],
        "plots": [_plot(plot) for plot in found.plots if plot.visits or plot.corals_in_need],
    }


def plan_as_json(plan: DayPlan, plots: Mapping[str, PlotDue], day: str) -> dict[str, Any]:
    """The dives in order, what stays ashore and why, and what to carry."""
    return {
        "day": day,
        "dives": [
            {"site": dive.site, "minutes": dive.minutes, "plots": [_job(job, plan) for job in dive.jobs]} for dive in plan.dives
        ],
        "left": [{"plot": job.plot, "name": job.called, "minutes": job.minutes, "why": why} for job, why in plan.left],
        "carry": carried(plots[job.plot] for job in plan.jobs),
    }


def _plot(plot: PlotDue) -> dict[str, Any]:
    return {
        "plot": plot.id,
        "name": plot.called,
        "site": plot.site,
        "site_name": plot.site_called,
        "followed": plot.is_followed,
        "corals": plot.corals,
        "visited_on": plot.visited_on.isoformat() if plot.visited_on else None,
        "visits": [_visit(visit) for visit in plot.visits],
        "needs": [
            {"coral": coral.coral, "name": coral.called, "hand": need.hand, "seen_on": need.day, "noted": list(need.noted)}
            for coral in plot.corals_in_need
            for need in coral.needs
        ],
        "minutes": plot.minutes.minutes if plot.minutes else None,
        "minutes_known_by": plot.minutes.known_by if plot.minutes else None,
        "carry": carried([plot]),
    }


def _visit(visit: Visit) -> dict[str, Any]:
    window = visit.window
    days = {"since": str(window.since), "opens": str(window.opens), "closes": str(window.closes)}
    round_ = window.label.get("")
    named: dict[str, Any] = {"event": window.event, "label": dict(window.label)} if round_ is None else {"round": round_}
    return {**named, **days, "state": visit.state, "days": visit.days}


def _job(job: Job, plan: DayPlan) -> dict[str, Any]:
    return {
        "plot": job.plot,
        "name": job.called,
        "minutes": job.minutes,
        "hands": job.hands,
        "diseased": job.is_diseased,
        "clean_before": job.plot in plan.clean_before,
    }
