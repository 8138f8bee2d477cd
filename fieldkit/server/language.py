"""Which language a request is answered in: the one asked for, else the one chosen before, else the browser's own list."""

from __future__ import annotations

from urllib.parse import urlencode

from babel import Locale
from flask import Flask, Response, g, request

from fieldkit import messages
from fieldkit.server.reader import Reader

_COOKIE = "lang"
_YEAR_SECONDS = 365 * 24 * 60 * 60


def reader() -> Reader:
    """Who reads the answer to this request."""
    if "reader" not in g:
        g.reader = Reader(_chosen() or messages.choose(list(request.accept_languages.values())))
    found: Reader = g.reader
    return found


def speak(app: Flask) -> None:
    """Remember a language that was asked for, and give every template its reader."""
    app.after_request(_remember)
    app.context_processor(lambda: {"reader": reader(), "t": reader().text, "languages": _offered()})


def _offered() -> list[tuple[str, str, str]]:
    """Each language: its tag, what it calls itself, and this page's address in it."""
    return [
        (tag, str(Locale.parse(tag).display_name).capitalize(), f"?{urlencode({**request.args, 'lang': tag})}")
        for tag in messages.LANGUAGES
    ]


def _chosen() -> str | None:
    for asked in (request.args.get("lang"), request.cookies.get(_COOKIE)):
        if asked in messages.LANGUAGES:
            return asked
    return None


def _remember(response: Response) -> Response:
    asked = request.args.get("lang")
    if asked in messages.LANGUAGES:
        response.set_cookie(_COOKIE, asked, max_age=_YEAR_SECONDS, httponly=True, samesite="Lax")
    response.vary.update(("Accept-Language", "Cookie"))
    response.content_language.add(reader().language)
    return response
