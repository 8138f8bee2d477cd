"""What keeps a page of a stranger from speaking to the base through the browser that both are open in.

Serving this computer alone is no protection: any page that is open in its browser may send requests here. So
- the `Host` must name this computer, or over TLS the base by a name or address of the network at hand: a stranger's name
  that was made to point here (DNS rebinding) is turned away;
- whatever changes something must come from a page of ours: by what the browser says of its origin, and by a token that only our
  pages hold, since no other page can read them;
- the answers let nothing run that is not a file of ours, be framed by nobody, and tell no address to others.
"""

from __future__ import annotations

import hmac
import secrets
from collections.abc import Callable
from typing import TypeVar
from urllib.parse import urlsplit

from flask import Flask, Response, current_app, request

from fieldkit.access import LEAD
from fieldkit.server.current import current_access
from fieldkit.server.errors import StrangerError
from fieldkit.server.near import is_near

SIGN_IN_COOKIE = "__Host-sign_in"  # the prefix makes browsers hold it to TLS, to this host and to the whole of it (RFC 6265bis)

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' blob:",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
        "require-trusted-types-for 'script'",
        "trusted-types 'none'",
    )
)
HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
}
THIS_COMPUTER = ("localhost", "127.0.0.1", "::1")
READS_ONLY = ("GET", "HEAD", "OPTIONS")

# The longest form is a matter's: a token, an answer, a reason. A reason of several pages fits twice over. Chosen by us.
MOST_BYTES = 64 * 1024
MOST_FIELDS = 200
MOST_TYPED = 1024 * 1024
"""Of what is typed beside a file, where a route takes one."""

_Route = TypeVar("_Route", bound=Callable[..., object])


def guard(app: Flask) -> None:
    """Turn away what did not come from a page of ours, and say on every answer what it may do."""
    app.config.update(
        FORM_KEY=secrets.token_bytes(32),  # of this run: pages that are older than it are loaded anew
        MAX_CONTENT_LENGTH=MOST_BYTES,
        MAX_FORM_MEMORY_SIZE=MOST_BYTES,
        MAX_FORM_PARTS=MOST_FIELDS,
    )
    app.before_request(_turn_away)
    app.after_request(_protect)
    app.context_processor(lambda: {"form_token": _form_token()})


def _turn_away() -> None:
    if not (_names_the_base(request.host) if request.is_secure else _names_this_computer(request.host)):
        raise StrangerError.of("pages.other_host", host=request.host[:80])
    _admit_more()
    if request.method not in READS_ONLY and not (_comes_from_here() and _has_the_token()):
        raise StrangerError.of("pages.not_from_here")


def takes_more(most_bytes: int, most_fields: int) -> Callable[[_Route], _Route]:
    """Marks a route that takes longer forms than all others, from whoever sits here or signed in as a lead."""

    def marked(route: _Route) -> _Route:
        route.takes_more = (most_bytes, most_fields)  # type: ignore[attr-defined]
        return route

    return marked


def _admit_more() -> None:
    more = getattr(current_app.view_functions.get(request.endpoint or ""), "takes_more", None)
    if more is not None and (not request.is_secure or _is_a_leads()):
        request.max_content_length, request.max_form_parts = more
        request.max_form_memory_size = MOST_TYPED


def _is_a_leads() -> bool:
    person = current_access().people.signed_in(request.cookies.get(SIGN_IN_COOKIE, ""))
    return person is not None and person.role == LEAD


def _names_this_computer(host: str) -> bool:
    try:
        named = urlsplit(f"//{host}")
        port = named.port or 80
    except ValueError:
        return False
    return named.hostname in THIS_COMPUTER and str(port) == request.environ["SERVER_PORT"] and "@" not in host


def _names_the_base(host: str) -> bool:
    try:
        named = urlsplit(f"//{host}")
        return is_near(named.hostname or "") and "@" not in host
    except ValueError:
        return False


def _comes_from_here() -> bool:
    # A browser that sends no referrer says "null" as the origin of a form's page; then its other word, and the token, decide.
    origin = request.headers.get("Origin", "null")
    return (
        origin in ("null", request.host_url.rstrip("/"))
        and request.headers.get("Sec-Fetch-Site", "same-origin") == "same-origin"
    )


def _has_the_token() -> bool:
    return hmac.compare_digest(request.form.get("token", "").encode(), _form_token().encode())


def _form_token() -> str:
    """What only a page of ours holds that was made for this browser: nobody's page serves another's browser."""
    whose = request.cookies.get(SIGN_IN_COOKIE, "") if request.is_secure else ""
    return hmac.new(current_app.config["FORM_KEY"], whose.encode(), "sha256").hexdigest()


def _protect(response: Response) -> Response:
    response.headers.setdefault("Content-Security-Policy", POLICY)
    for name, value in HEADERS.items():
        response.headers[name] = value
    if response.mimetype in ("text/html", "text/csv"):
        response.headers["Cache-Control"] = "no-store"  # going back shows what is true now, not what was
    return response
