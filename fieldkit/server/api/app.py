"""The application that answers devices, and what holds for all its routes."""

from __future__ import annotations

import logging

from flask import Flask
from flask_smorest import Api
from werkzeug.exceptions import HTTPException

from fieldkit import __version__
from fieldkit.access import Access
from fieldkit.base import Base
from fieldkit.exchange import Exchange
from fieldkit.server.api import exchange, hello, pair, register
from fieldkit.server.api.door import guard
from fieldkit.server.api.origins import share_with_own_pages
from fieldkit.server.api.problems import TYPE as PROBLEM
from fieldkit.server.api.problems import ProblemSchema, tell_problems, told_of_http
from fieldkit.server.current import ACCESS, BASE, EXCHANGE

PREFIX = "/api/v1"
BLUEPRINTS = (hello.routes, pair.routes, register.routes, exchange.routes)


class _Api(Api):  # type: ignore[misc]  # flask-smorest has no types
    """As flask-smorest gives it, but that problems are told as RFC 9457 has it."""

    ERROR_SCHEMA = ProblemSchema

    def handle_http_exception(self, error: HTTPException) -> object:
        return told_of_http(error)

    def _register_responses(self) -> None:
        """What is refused is described under the type by which it comes; flask-smorest knows one type for all answers."""
        self.DEFAULT_RESPONSE_CONTENT_TYPE = PROBLEM
        super()._register_responses()
        del self.DEFAULT_RESPONSE_CONTENT_TYPE  # the class has the usual one


def create_api(base: Base, access: Access) -> Flask:
    """What devices talk to, as a WSGI application to be mounted at `PREFIX`."""
    app = Flask("fieldkit.server.api", static_folder=None)
    app.config.update(
        API_TITLE="fieldkit",
        API_VERSION=__version__,
        OPENAPI_VERSION="3.1.0",
        OPENAPI_URL_PREFIX="/",
        API_SPEC_OPTIONS={
            "servers": [{"url": PREFIX}],
            "components": {"securitySchemes": {"token": {"type": "http", "scheme": "bearer"}}},
            "security": [{"token": []}],
        },
    )
    app.json.sort_keys = False  # type: ignore[attr-defined]  # answers stand in the order of docs/exchange.md
    extensions = {BASE: base, ACCESS: access, EXCHANGE: Exchange(base), register.SNAPSHOTS: register.Snapshots()}
    app.extensions.update(extensions)
    logging.getLogger("webargs").setLevel(logging.WARNING)
    share_with_own_pages(app)
    guard(app)
    tell_problems(app)
    api = _Api(app)
    for blueprint in BLUEPRINTS:
        api.register_blueprint(blueprint)
    return app
