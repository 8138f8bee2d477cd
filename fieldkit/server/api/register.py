"""The register snapshot: what a device needs to draw its slates."""

from __future__ import annotations

import gzip
import threading
import time
from dataclasses import dataclass
from hashlib import sha256
from typing import Any

from flask import Response, current_app, json, request
from flask_smorest import Blueprint
from marshmallow import Schema, fields

from fieldkit.access import BASE as OTHER_BASE
from fieldkit.access import CREW, LEAD, VIEWER
from fieldkit.base import Base, View
from fieldkit.reports.slates import snapshot
from fieldkit.server.api.door import admits
from fieldkit.server.current import current_base, current_protocols

SNAPSHOTS = "fieldkit.snapshots"
"""Where an application keeps them, among its `extensions`."""

routes = Blueprint("register", __name__, description="What a device needs to draw its slates")


@dataclass(frozen=True)
class Kept:
    """A snapshot as it was made last."""

    of: tuple[Any, ...]
    etag: str
    body: bytes
    packed: bytes


class Snapshots:
    """The newest snapshot of a base, made anew when anything was said since."""

    def __init__(self) -> None:
        self._kept: Kept | None = None
        self._lock = threading.Lock()  # ten phones that come together need one

    def newest(self, base: Base) -> Kept:
        with self._lock, base.view() as view:
            of = _state(view)
            if self._kept is None or self._kept.of != of:
                self._kept = _made(base, view, of)
            return self._kept


def _state(view: View) -> tuple[Any, ...]:
    """What changes with everything that the state reckons with."""
    folded = view.rows(
        "SELECT value FROM base WHERE name = 'folded'"
    )  # where the disk is full, the state lags behind the ledger
    return folded[0]["value"] if folded else None, view.protocols_heard_of()


def _made(base: Base, view: View, of: tuple[Any, ...]) -> Kept:
    found = snapshot(view, current_protocols())
    etag = sha256(json.dumps(found, sort_keys=True).encode()).hexdigest()[:32]
    about = {"base": base.id, "programme": base.programme, "programme_name": base.programme_name}
    told = {**about, "made_at": time.time_ns() // 1_000_000, **found}
    body = json.dumps(told, ensure_ascii=False, separators=(",", ":"), sort_keys=False).encode()
    return Kept(of, etag, body, gzip.compress(body, 6, mtime=0))


class RegisterSchema(Schema):
    base = fields.String(required=True)
    programme = fields.String(required=True)
    programme_name = fields.String(required=True)
    made_at = fields.Integer(required=True, metadata={"description": "Milliseconds since 1970 UTC"})
    protocols = fields.List(fields.Dict(), required=True)
    people = fields.List(fields.Dict(), required=True)
    sites = fields.List(fields.Dict(), required=True)
    genotypes = fields.List(fields.Dict(), required=True)
    lots = fields.List(fields.Dict(), required=True)
    plots = fields.List(fields.Dict(), required=True)
    slates = fields.List(fields.Dict(), required=True)
    boat_days = fields.List(fields.Dict(), required=True)
    cautions = fields.Dict(required=True)


@routes.route("/register", methods=["GET"])
@routes.response(200, RegisterSchema)
@routes.alt_response(304, description="Nothing changed")
@admits(CREW, LEAD, VIEWER, OTHER_BASE)
def register() -> Response:
    """The register as it stands; docs/exchange.md says what is in it."""
    snapshots: Snapshots = current_app.extensions[SNAPSHOTS]
    kept = snapshots.newest(current_base())
    takes_packed = request.accept_encodings.quality("gzip") > 0
    response = Response(kept.packed if takes_packed else kept.body, mimetype="application/json")
    if takes_packed:
        response.content_encoding = "gzip"
    response.vary.add("Accept-Encoding")
    response.cache_control.no_cache = True  # kept, and asked about each time
    response.cache_control.private = True
    response.set_etag(kept.etag, weak=True)
    return response.make_conditional(request)  # type: ignore[return-value]  # the same object
