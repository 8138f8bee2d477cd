"""Boat days as they came in, and what is still out."""

from __future__ import annotations

from datetime import date

from flask import Blueprint, Response, render_template

from fieldkit.access import Device
from fieldkit.base import View
from fieldkit.ledger import canonical, sha256
from fieldkit.reports.days import days
from fieldkit.server.current import current_access, current_base

pages = Blueprint("days", __name__)


@pages.get("/days")
def show() -> str:
    base = current_base()
    with base.view() as view:
        found = days(view, base.photos)
        moment = _moment(view)
    devices = {device.id: device for device in current_access().devices.all()}
    today = date.today().isoformat()
    planned = [day for day in found if day.day > today and not day.came]
    past = [day for day in found if day not in planned]
    newest = [day for day in past if day.day == past[0].day]
    came = [one for day in newest for one in day.came]
    return render_template(
        "days.html",
        newest=newest,
        older=past[len(newest) :],
        planned=planned[::-1],
        sessions_in=len(came),
        rows=sum(one.rows for one in came),
        out=sum(len(day.plots_out) for day in newest),
        devices=devices,
        waiting=[device for device in devices.values() if device.revoked_at is None and _unsent(device)],
        moment=moment,
        today=today,
    )


@pages.get("/days/moment")
def moment() -> Response:
    """What changes whenever the page would: asked every few seconds by whoever watches, it brings nothing up to date."""
    with current_base().glance() as view:
        return Response(_moment(view), mimetype="text/plain", headers={"Cache-Control": "no-store"})


def _moment(view: View) -> str:
    """The newest entry, which photos are here, and what the devices last told."""
    told = [(device.id, device.unsent_entries, device.unsent_photos) for device in current_access().devices.all()]
    return sha256(canonical([view.ledger.newest_place, str(current_base().photos.moment()), list(map(list, told))]))


def _unsent(device: Device) -> int:
    return (device.unsent_entries or 0) + (device.unsent_photos or 0)
