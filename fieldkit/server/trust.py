"""The one page that is served to the network over plain http: it leads a phone through trusting the base.

It takes nothing and knows nobody. A phone that does not trust the base yet cannot read anything over TLS, so the authority's
certificate, the steps for installing it, and a check whether it worked, must come without.
"""

from __future__ import annotations

from urllib.parse import urlsplit

from flask import Flask, Response, render_template, request
from jinja2 import StrictUndefined
from werkzeug.middleware.dispatcher import DispatcherMiddleware

from fieldkit.base import Base
from fieldkit.server.api.app import PREFIX
from fieldkit.server.current import API
from fieldkit.server.entry import pages as entry
from fieldkit.server.language import speak
from fieldkit.server.near import is_near
from fieldkit.server.reach import Reach
from fieldkit.server.safety import HEADERS, POLICY
from fieldkit.shipped import STATIC

SYSTEMS = ("ios", "android", "firefox", "windows", "macos")


def create_trust_app(base: Base, pages: Flask, reach: Reach) -> Flask:
    """What the network gets over plain http. `pages` is the base's whole application: of it, no more than the lead allowed."""
    app = Flask("fieldkit.server", static_folder=STATIC / "pages", static_url_path="/static/pages")
    app.jinja_env.undefined = StrictUndefined
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    app.context_processor(lambda: {"programme": base.programme_name})
    speak(app)
    app.after_request(_protect)
    app.add_url_rule("/", "trust", lambda: _page(reach))
    app.add_url_rule("/fieldkit.crt", "certificate", lambda: _certificate(reach))
    if reach.hands_in_over_http:
        app.register_blueprint(entry)
        app.wsgi_app = DispatcherMiddleware(app.wsgi_app, {PREFIX: pages.extensions[API]})  # type: ignore[method-assign]
    return app


def _page(reach: Reach) -> str:
    host = _host(reach)
    return render_template(
        "trust.html",
        reach=reach,
        systems=SYSTEMS,
        # Under its lasting name first: what the browser keeps, it keeps under the name by which it came.
        origins=[f"https://{one}:{reach.port}" for one in dict.fromkeys((reach.name, host))],
        fingerprint=reach.authority.fingerprint,
    )


def _host(reach: Reach) -> str:
    """By what the phone found us; nobody is led to a name of a stranger."""
    try:
        named = urlsplit(f"//{request.host}").hostname or ""
    except ValueError:
        return reach.name
    return named if is_near(named) else reach.name


def _certificate(reach: Reach) -> Response:
    # The type by which phones know what this is (common practice).
    return Response(reach.authority.as_der, mimetype="application/x-x509-ca-cert")


def _protect(response: Response) -> Response:
    response.headers.setdefault("Content-Security-Policy", POLICY.replace("connect-src 'self'", "connect-src https:"))
    for name, value in HEADERS.items():
        if name != "Cross-Origin-Opener-Policy":  # browsers pass it over without TLS, and complain
            response.headers[name] = value
    response.headers.setdefault("Cache-Control", "no-store")
    return response
