"""The application: one base, its pages, and what holds for all of them."""

from __future__ import annotations

from flask import Flask, url_for
from jinja2 import StrictUndefined
from werkzeug.middleware.dispatcher import DispatcherMiddleware

from fieldkit.access import Access
from fieldkit.backup import newest_days_old
from fieldkit.base import Base
from fieldkit.server.api.app import PREFIX, create_api
from fieldkit.server.current import ACCESS, API, BASE
from fieldkit.server.entry import pages as entry
from fieldkit.server.language import speak
from fieldkit.server.pages import BLUEPRINTS
from fieldkit.server.problems import tell_problems
from fieldkit.server.safety import guard
from fieldkit.server.visitor import admit, current_visitor
from fieldkit.shipped import STATIC


def create_app(base: Base, access: Access | None = None) -> Flask:
    """The pages of a base and what devices talk to, as a WSGI application. Opens nothing until it is asked."""
    access = access or Access(base.folder)
    app = Flask("fieldkit.server", static_folder=STATIC / "pages", static_url_path="/static/pages")
    app.jinja_env.undefined = StrictUndefined
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    app.extensions.update({BASE: base, ACCESS: access})
    app.context_processor(lambda: {"programme": base.programme_name, "backup_days_old": lambda: newest_days_old(base.folder)})
    guard(app)
    admit(app)
    speak(app)
    tell_problems(app)
    for blueprint in (*BLUEPRINTS, entry):
        app.register_blueprint(blueprint)
    app.add_url_rule("/", "start", _start)
    app.extensions[API] = create_api(base, access)
    app.wsgi_app = DispatcherMiddleware(app.wsgi_app, {PREFIX: app.extensions[API]})  # type: ignore[method-assign]
    return app


def _start() -> tuple[str, int, dict[str, str]]:
    """Where the address alone leads: a phone, whose person is nobody here, to its notes."""
    return "", 302, {"Location": url_for("days.show" if current_visitor() else "entry.shell")}
