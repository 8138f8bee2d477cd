"""Signing in and out, over the network. Whoever sits at the laptop need not."""

from __future__ import annotations

from flask import Blueprint, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from fieldkit.access import AccessError, TooManyError
from fieldkit.server.current import current_access
from fieldkit.server.language import reader
from fieldkit.server.safety import SIGN_IN_COOKIE

pages = Blueprint("sign_in", __name__)


@pages.get("/sign-in")
def show() -> str:
    return _form()


@pages.post("/sign-in")
def enter() -> Response | tuple[str, int]:
    """Sign in, and go on to where somebody wanted to go."""
    name, password = request.form.get("name", ""), request.form.get("password", "")
    try:
        token = current_access().people.sign_in(name, password, request.remote_addr or "")
    except TooManyError as refused:
        return _form(*refused.texts(reader().language)), 429
    except AccessError as refused:
        return _form(*refused.texts(reader().language)), 403
    response = redirect(_page_of_ours(request.form.get("then", "")), 303)
    response.set_cookie(SIGN_IN_COOKIE, token, httponly=True, secure=True, samesite="Strict", path="/")
    return response


@pages.post("/sign-out")
def leave() -> Response:
    current_access().people.sign_out(request.cookies.get(SIGN_IN_COOKIE, ""))
    response = redirect(url_for("sign_in.show"), 303)
    response.delete_cookie(SIGN_IN_COOKIE, httponly=True, secure=True, samesite="Strict", path="/")
    return response


def _form(fault: str = "") -> str:
    then = request.values.get("then", "")
    return render_template("sign_in.html", fault=fault, then=_page_of_ours(then), name=request.form.get("name", ""))


def _page_of_ours(path: str) -> str:
    """Where to go on: a page of this base and of no other site."""
    is_ours = path.startswith("/") and not path.startswith(("//", "/\\")) and path.isprintable()
    return path if is_ours else url_for("days.show")
