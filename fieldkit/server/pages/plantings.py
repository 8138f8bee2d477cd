"""A planting day written down at the base: tags in one line, looked at before they are written; and what came of it."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import replace
from datetime import date

from flask import Blueprint, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from fieldkit.base import Statement, View
from fieldkit.ledger import derived_id, is_id, new_id
from fieldkit.ledger.entry import MAX_REPLACES
from fieldkit.protocol import read_protocol
from fieldkit.reports.programme import of_kind, outplanting, outplanting_protocol, preview, registered, statements
from fieldkit.server.current import current_base, current_names, current_protocols
from fieldkit.server.errors import NotYoursError, RequestError
from fieldkit.server.signature import signature, signed, signer
from fieldkit.server.visitor import known_visitor
from fieldkit.shipped import SAMPLE_SURVEYS

pages = Blueprint("plantings", __name__)

_WRITE = "plantings.write"
_SHIPPED = SAMPLE_SURVEYS / "protocols" / "outplanting.toml"


@pages.get("/plantings/new")
def ask() -> str | tuple[str, int]:
    """The form of a planting day, empty but for what stands in the address."""
    _only_who_may_write()
    return _page(request.args, is_looked_at=False)


@pages.post("/plantings/new")
def look() -> str | tuple[str, int]:
    """Show what would be written, and what should be looked at once more. Writes nothing."""
    return _page(request.form, is_looked_at=True)


@pages.post("/plantings/write")
def write() -> Response | str | tuple[str, int]:
    """Write it down, as it was looked at. Pressed twice it is written once: the corals' ids follow from the form's own."""
    who, once = signature(), request.form.get("once", "")
    base = current_base()
    with base.view() as view:
        protocol = outplanting_protocol(current_protocols(), view)
        if protocol is None or not is_id(once):
            raise RequestError.of("programme.nothing_to_do")
        planned = preview(view, protocol, request.form, date.today())
        if not planned.is_right:
            return _page(request.form, is_looked_at=True)
        said = statements(planned, lambda tag: derived_id("planting", once, tag))
        before = [entry for entry in view.ledger.about([said[0].values["row"]]) if entry.kind == "planting"]
    session = before[0].session if before else base.say(said, recorder=who, about=planned.about)[0].session
    return signed(redirect(url_for("plantings.outplanted", id_=session, done="1"), 303), who)


@pages.post("/plantings/protocol")
def adopt() -> Response:
    """Adopt the outplanting protocol that comes with fieldkit, where the programme has none."""
    base = current_base()
    with base.view() as view:
        has_one = outplanting_protocol(current_protocols(), view) is not None
    if not has_one:
        base.adopt(read_protocol(_SHIPPED.read_bytes(), name=_SHIPPED.name))
    return redirect(url_for("plantings.ask"), 303)


@pages.get("/plantings/<id_>")
def outplanted(id_: str) -> str:
    """One planting session, from a phone or from the page."""
    with current_base().view() as view:
        found = outplanting(view, id_) if is_id(id_) else None
        if found is None:
            abort(404)
        return render_template(
            "programme/outplanting.html",
            found=found,
            registered=registered(view),
            names=current_names(view),
            done=request.args.get("done"),
            who=signer(),
            may_change=known_visitor().may(_WRITE, reads=False),
        )


@pages.post("/plantings/<id_>/take-back")
def take_back(id_: str) -> Response:
    """Take back all plantings of a session that still stand."""
    base, who = current_base(), signature()
    with base.view() as view:
        found = outplanting(view, id_) if is_id(id_) else None
    if found is None or not found.planted:
        raise RequestError.of("programme.nothing_to_do")
    gone = [entry.digest for entry in found.planted]
    some = [tuple(gone[i : i + MAX_REPLACES]) for i in range(0, len(gone), MAX_REPLACES)]
    base.say([Statement("retract", {}, digests) for digests in some], recorder=who)
    return signed(redirect(url_for("plantings.outplanted", id_=id_), 303), who)


def _page(given: Mapping[str, str], *, is_looked_at: bool) -> str | tuple[str, int]:
    with current_base().view() as view:
        protocol = outplanting_protocol(current_protocols(), view)
        if protocol is None:
            return render_template("programme/no_protocol.html")
        planned = preview(view, protocol, given, date.today()) if is_looked_at else None
        names = current_names(view)
        names = replace(names, protocols=(protocol, *names.protocols))  # others may call a field of that name differently
        page = render_template(
            "programme/planting.html",
            protocol=protocol,
            given=given,
            planned=planned,
            faults={name: names.why(fault) for name, fault in planned.faults.items()} if planned else {},
            plots=_plots(view),
            lots=of_kind(view, "lot"),
            registered=registered(view),
            names=names,
            once=new_id(time.time_ns() // 1_000_000),
            today=date.today().isoformat(),
            who=signer(),
        )
    return page if planned is None or planned.is_right else (page, 400)


def _plots(view: View) -> list[tuple[str, list[tuple[str, str]]]]:
    """Tagged plots by site, to pick from."""
    sites = registered(view)["site"]
    found: dict[str, list[tuple[str, str]]] = {}
    for plot in of_kind(view, "plot"):
        if plot.values.get("recorded_as") != "counted":
            found.setdefault(sites.get(str(plot.values.get("site")), ""), []).append((plot.id, plot.called))
    return list(found.items())


def _only_who_may_write() -> None:
    if not known_visitor().may(_WRITE, reads=False):
        raise NotYoursError.of("pages.not_yours", role=known_visitor().role)
