"""Boat days as they came in, and what is still out."""

from __future__ import annotations

from flask import Blueprint, render_template

from fieldkit.reports.days import days
from fieldkit.server.current import current_base

pages = Blueprint("days", __name__)


@pages.get("/days")
def show() -> str:
    base = current_base()
    with base.view() as view:
        found = days(view, base.photos)
    newest = [day for day in found if day.day == found[0].day]
    came = [one for day in newest for one in day.came]
    return render_template(
        "days.html",
        newest=newest,
        older=found[len(newest) :],
        sessions_in=len(came),
        rows=sum(one.rows for one in came),
        out=sum(len(day.plots_out) for day in newest),
    )
