"""How phones come to the base, and which ones did: codes to scan, addresses, devices and what only they still hold."""

from __future__ import annotations

from dataclasses import dataclass

from flask import Blueprint, redirect, render_template, request, url_for
from markupsafe import Markup
from werkzeug.wrappers import Response

from fieldkit.access import CODE_MINUTES, CREW, ROLES, spelt
from fieldkit.server.current import current_access, current_reach
from fieldkit.server.errors import RequestError
from fieldkit.server.language import reader
from fieldkit.server.qr import as_svg
from fieldkit.server.reach import Reach, Wifi

pages = Blueprint("reach", __name__)

MOST_WIFI_NAME_BYTES = 32  # IEEE 802.11: an SSID
MOST_WIFI_PASSWORD = 63  # and a WPA passphrase


@pages.get("/reach")
def show() -> str:
    return _page(None, CREW)


@pages.post("/reach/code")
def code() -> str:
    """Make a code by which one device can be paired. It is shown once, here."""
    role = request.form.get("role", "")
    return _page(current_access().devices.invite(role), role)


@pages.post("/reach/wifi")
def wifi() -> Response:
    """Keep the network's name and password while this run lasts, to show them as a code."""
    name, password = request.form.get("name", ""), request.form.get("password", "")
    if len(name.encode()) > MOST_WIFI_NAME_BYTES or len(password) > MOST_WIFI_PASSWORD:
        raise RequestError.of("reach.bad_wifi", most=MOST_WIFI_NAME_BYTES, longest=MOST_WIFI_PASSWORD)
    reach = current_reach()
    if reach is not None:
        reach.wifi = Wifi(name, password) if name else None
    return redirect(url_for("reach.show", _anchor="join"), 303)


@pages.post("/reach/revoke")
def revoke() -> Response:
    """Turn a lost device away."""
    current_access().devices.revoke(request.form.get("device", ""))
    return redirect(url_for("reach.show", _anchor="devices"), 303)


@dataclass(frozen=True)
class Way:
    """One name or address under which the base is found."""

    host: str
    first_page: str
    first_qr: Markup
    page: str
    page_qr: Markup
    short: str
    """The address as a few letters to type; empty for a name."""


def _ways(reach: Reach, code: str | None) -> list[Way]:
    """The lasting name first: what a browser keeps, it keeps under the name by which it came."""
    t = reader().text
    return [
        Way(
            host,
            reach.first_page(host),
            as_svg(reach.first_page(host, code), called=t("reach.qr_first", host=host)),
            reach.page(host),
            as_svg(reach.page(host, code), called=t("reach.qr_page", host=host)),
            "" if host == reach.name else reach.code_of(host),
        )
        for host in (reach.name, *reach.addresses())
    ]


def _page(code: str | None, role: str) -> str:
    reach, t = current_reach(), reader().text
    return render_template(
        "reach.html",
        reach=reach,
        ways=_ways(reach, code) if reach else [],
        wifi=as_svg(reach.wifi.code, called=t("reach.qr_wifi", name=reach.wifi.name)) if reach and reach.wifi else None,
        code=spelt(code) if code else None,
        minutes=CODE_MINUTES,
        role=role,
        roles=ROLES,
        devices=current_access().devices.all(),
        people=current_access().people.all(),
    )
