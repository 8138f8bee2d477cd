"""Which pages may read the answers: those that a base served, under whatever name or address it had on that day.

The page that a phone loaded yesterday hands in to the address of today, which for its browser is another origin (CORS). No page
of the internet is let in: its name neither ends in `.local` nor is a private address. No cookies are read, so nothing is lent.
"""

from __future__ import annotations

from urllib.parse import urlsplit

from flask import Flask, Response, request

from fieldkit.server.near import is_near

METHODS = "GET, HEAD, POST, PATCH"
SENT_HEADERS = "Authorization, Content-Type, If-None-Match, Upload-Complete, Upload-Length, Upload-Offset"
TOLD_HEADERS = "ETag, Next-After, Repr-Digest, Retry-After, Upload-Complete, Upload-Offset"
_GOOD_SECONDS = "600"


def is_own(origin: str) -> bool:
    """Whether a page of that origin can be one that a base served."""
    try:
        host = urlsplit(origin).hostname or ""
    except ValueError:
        return False
    return is_near(host) if urlsplit(origin).scheme in ("http", "https") else False


def share_with_own_pages(app: Flask) -> None:
    app.before_request(_preflight)
    app.after_request(_name_the_origin)


def _preflight() -> Response | None:
    if request.method != "OPTIONS":
        return None
    headers = {
        "Access-Control-Allow-Methods": METHODS,
        "Access-Control-Allow-Headers": SENT_HEADERS,
        "Access-Control-Max-Age": _GOOD_SECONDS,
    }
    return Response(status=204, headers=headers)


def _name_the_origin(response: Response) -> Response:
    origin = request.headers.get("Origin", "")
    response.vary.add("Origin")
    if is_own(origin):
        response.headers["Access-Control-Allow-Origin"] = origin
        response.headers["Access-Control-Expose-Headers"] = TOLD_HEADERS
    return response
