"""Who may ask for what, and how much they may send: said at each route, held here for all.

    @routes.route("/entries", methods=["POST"])
    @admits(CREW, LEAD, BASE, most_bytes=1024 * 1024)
    def entries() -> ...:
        g.device    # the `Device` that asks

A route that says nothing is closed.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from typing import TypeVar

from flask import Flask, Response, current_app, g, request

from fieldkit.access import AccessError
from fieldkit.server.api.problems import NotAllowedError, NotKnownError
from fieldkit.server.current import current_access

MOST_BYTES = 16 * 1024  # of a request that carries no data; chosen by us

Route = TypeVar("Route", bound=Callable[..., object])
_OPEN_DOCUMENTS = frozenset({"api-docs.openapi_json"})


def admits(*roles: str, most_bytes: int = MOST_BYTES) -> Callable[[Route], Route]:
    """Let devices of these roles ask for a route; none named: anybody, with or without a token."""

    def said(route: Route) -> Route:
        route.admitted, route.most_bytes = roles, most_bytes  # type: ignore[attr-defined]
        return route

    return said


def guard(app: Flask) -> None:
    app.config["MAX_CONTENT_LENGTH"] = MOST_BYTES
    app.before_request(_let_in)
    app.after_request(_keep_nothing)


def _let_in() -> None:
    route = current_app.view_functions.get(request.endpoint or "")
    if route is None or request.endpoint in _OPEN_DOCUMENTS:
        return
    roles: tuple[str, ...] | None = getattr(route, "admitted", None)
    request.max_content_length = getattr(route, "most_bytes", MOST_BYTES)
    if roles == ():
        return
    device = current_access().device_of(_token())
    if device is None:
        raise NotKnownError.of("api.not_known")
    if roles is None or device.role not in roles:
        raise NotAllowedError.of("api.not_allowed", role=device.role)
    with suppress(AccessError):  # a note, and the disk may be full: what is here already can be read all the same
        current_access().devices.heard(device)
    g.device = device


def _token() -> str:
    said = request.authorization
    return said.token or "" if said and said.type == "bearer" else ""


def _keep_nothing(response: Response) -> Response:
    response.headers["X-Content-Type-Options"] = "nosniff"
    response.headers["Content-Security-Policy"] = "default-src 'none'; sandbox"
    response.headers.setdefault("Cache-Control", "no-store")
    return response
