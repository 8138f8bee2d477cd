"""Who signs what is said at the base: whoever signed in; at the laptop, whoever they say they are."""

from __future__ import annotations

from flask import request
from werkzeug.wrappers import Response

from fieldkit.server.errors import RequestError
from fieldkit.server.visitor import known_visitor

MAX_SIGNATURE = 40
_WHO = "who"
_YEAR_SECONDS = 365 * 24 * 60 * 60


def signer() -> str:
    """By whom forms are signed until somebody signs otherwise; empty: nobody has yet."""
    return known_visitor().name or request.cookies.get(_WHO, "")


def signature() -> str:
    """Who signs the form that was sent.

    Raises:
        RequestError: nobody.
    """
    who = known_visitor().name or request.form.get(_WHO, "").strip()
    if not 0 < len(who) <= MAX_SIGNATURE:
        raise RequestError.of("pages.no_initials")
    return who


def signed(response: Response, who: str) -> Response:
    """The answer, with which the browser remembers who signed."""
    response.set_cookie(_WHO, who, max_age=_YEAR_SECONDS, httponly=True, samesite="Strict")
    return response
