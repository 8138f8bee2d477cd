"""What went wrong, as problem details (RFC 9457): for the device a key and a status, for the person a sentence."""

from __future__ import annotations

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from flask import Flask, Response, current_app, json
from marshmallow import Schema, fields
from werkzeug.exceptions import HTTPException

from fieldkit.access import AccessError, TooManyError
from fieldkit.errors import Fault, FieldkitError
from fieldkit.ledger import StoreError
from fieldkit.server.language import reader

TYPE = "application/problem+json"
_RETRY_SECONDS = 5  # a base that is busy or whose disk fails; chosen by us


class ProblemSchema(Schema):
    """A problem."""

    type = fields.String(required=True)
    title = fields.String(required=True, metadata={"description": "A key of the catalogue of sentences"})
    status = fields.Integer(required=True)
    detail = fields.String(required=True, metadata={"description": "A sentence in the language that was asked for"})


class ApiError(FieldkitError):
    """A request that is refused; nothing was done."""

    status = HTTPStatus.BAD_REQUEST


class NotKnownError(ApiError):
    """No token, or one that is unknown or revoked."""

    status = HTTPStatus.UNAUTHORIZED


class NotAllowedError(ApiError):
    """The token's role does not cover this."""

    status = HTTPStatus.FORBIDDEN


class NotHereError(ApiError):
    """Nothing of that name is here."""

    status = HTTPStatus.NOT_FOUND


class OutOfStepError(ApiError):
    """What is sent does not follow on what is held."""

    status = HTTPStatus.CONFLICT


class NotFittingError(ApiError):
    """Whole and readable, and not what it should be."""

    status = HTTPStatus.UNPROCESSABLE_ENTITY


# What the store says, as a status; anything else of it is a failure of ours.
_STATUS_OF_STORE: Mapping[str, HTTPStatus] = {
    "base.disk_full": HTTPStatus.INSUFFICIENT_STORAGE,
    "photos.disk_full": HTTPStatus.INSUFFICIENT_STORAGE,
    # A disk that fails, or may not be written to just now, is no fault of what was sent: the device keeps all, and comes again.
    "base.disk_failed": HTTPStatus.SERVICE_UNAVAILABLE,
    "base.may_not": HTTPStatus.SERVICE_UNAVAILABLE,
    "photos.cannot_write": HTTPStatus.SERVICE_UNAVAILABLE,
    "base.busy": HTTPStatus.SERVICE_UNAVAILABLE,
}
_STATUS_OF_SIZE: Mapping[str, HTTPStatus] = dict.fromkeys(
    ("exchange.too_much", "photos.too_large"), HTTPStatus.REQUEST_ENTITY_TOO_LARGE
)
_STATUS_OF_ACCESS: Mapping[str, HTTPStatus] = {
    "access.wrong_code": HTTPStatus.FORBIDDEN,
    "access.no_device_name": HTTPStatus.UNPROCESSABLE_ENTITY,
    "access.disk_full": HTTPStatus.INSUFFICIENT_STORAGE,
    "access.cannot_keep": HTTPStatus.SERVICE_UNAVAILABLE,
}
_SENTENCES: Mapping[int, str] = {
    400: "api.asked_wrongly",
    404: "api.nothing_here",
    405: "api.other_way",
    413: "api.too_large",
    422: "api.not_fitting",
}


def tell_problems(app: Flask) -> None:
    app.register_error_handler(FieldkitError, told_of_ours)
    app.register_error_handler(Exception, _told_of_unforeseen)


def told_of_http(error: HTTPException) -> Response:
    """What Flask, or the check of what was sent, refuses."""
    code = error.code or 500
    why = getattr(error, "data", {}).get("messages")
    key = _SENTENCES.get(code, "api.asked_wrongly" if code < 500 else "api.ours")
    response = _answer(code, Fault(key, {"why": json.dumps(why, ensure_ascii=False)} if code == 422 else {}))
    for name, value in error.get_headers():
        if name not in ("Content-Type", "Content-Length"):
            response.headers[name] = value
    return response


def told_of_ours(error: FieldkitError) -> Response:
    if _status(error) == HTTPStatus.INTERNAL_SERVER_ERROR:
        current_app.logger.error("This went wrong while answering a device:", exc_info=error)
    elif _status(error) > HTTPStatus.INTERNAL_SERVER_ERROR:  # a disk that is full or fails: whoever sits at the base can help
        current_app.logger.warning("%s", error)
    response = _answer(_status(error), error.faults[0], "\n".join(error.texts(reader().language)))
    if isinstance(error, NotKnownError):
        response.headers["WWW-Authenticate"] = "Bearer"
    if isinstance(error, TooManyError):
        response.headers["Retry-After"] = str(error.seconds)
    elif response.status_code == HTTPStatus.SERVICE_UNAVAILABLE:
        response.headers["Retry-After"] = str(_RETRY_SECONDS)
    return response


def _status(error: FieldkitError) -> int:
    key = error.faults[0].key
    if isinstance(error, ApiError):
        return error.status
    if isinstance(error, TooManyError):
        return HTTPStatus.TOO_MANY_REQUESTS
    if isinstance(error, AccessError):
        return _STATUS_OF_ACCESS.get(key, HTTPStatus.INTERNAL_SERVER_ERROR)
    if key in _STATUS_OF_SIZE:
        return _STATUS_OF_SIZE[key]
    if isinstance(error, StoreError) or key in _STATUS_OF_STORE:
        return _STATUS_OF_STORE.get(key, HTTPStatus.INTERNAL_SERVER_ERROR)
    return HTTPStatus.BAD_REQUEST


def _told_of_unforeseen(error: Exception) -> Response:
    if isinstance(error, RecursionError):  # JSON that is nested without end
        return _answer(HTTPStatus.BAD_REQUEST, Fault("api.asked_wrongly"))
    current_app.logger.error("This went wrong while answering a device:", exc_info=error)
    return _answer(500, Fault("api.ours"))


def _answer(status: int, fault: Fault, detail: str | None = None) -> Response:
    body: dict[str, Any] = {
        "type": f"urn:fieldkit:problem:{fault.key}",
        "title": fault.key,
        "status": int(status),
        "detail": detail or fault.text(reader().language),
    }
    told = json.dumps(body, ensure_ascii=False).encode("utf-8", "replace")  # what was sent may hold half a character
    return Response(told, status=int(status), content_type=TYPE)
