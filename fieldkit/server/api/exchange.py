"""Handing in, and what bases ask each other: docs/exchange.md, request by request.

A body is taken only if as many bytes came as were announced: where a sender is cut off, the server below hands over what came
as if it were all. A piece of a photo is the exception: what came of it is kept, and counted.
"""

from __future__ import annotations

from collections.abc import Iterator
from http import HTTPStatus
from typing import Any

from flask import Response, current_app, g, request, send_file
from flask_smorest import Blueprint
from marshmallow import Schema, fields, validate
from werkzeug.exceptions import RequestEntityTooLarge

from fieldkit.access import BASE, CREW, LEAD, VIEWER
from fieldkit.exchange import MOST_BYTES, PIECE, Exchange, Peer
from fieldkit.ledger import is_digest, is_id
from fieldkit.ledger.store import Summary
from fieldkit.photos import SIZES, OffsetError, Piece, WrongError
from fieldkit.server.api.door import admits
from fieldkit.server.api.problems import ApiError, NotFittingError, NotHereError, OutOfStepError, told_of_ours
from fieldkit.server.current import EXCHANGE, current_access, current_base
from fieldkit.server.language import reader

routes = Blueprint("exchange", __name__, description="Handing in")

MOST_SESSIONS = 20_000
MOST_DIGESTS = 30_000
_MOST_LIST_BYTES = 2 * 1024 * 1024  # 30,000 digests, or 18,000 sessions: more than a device or a group of sessions holds
_MOST_MS = 2**53 - 1
_READ = 64 * 1024  # as fast as any larger one, and two dozen threads hold one each
_COUNT_DIGITS = 15
_YEAR_SECONDS = 365 * 24 * 60 * 60


class CutError(ApiError):
    """Fewer bytes came than were announced."""


_SESSION = fields.String(validate=lambda text: is_id(text))
_DIGEST = fields.String(validate=lambda text: is_digest(text))
_PREFIX = fields.String(validate=validate.Regexp(r"\A[0-9a-f]{4}\Z"))


class SummaryField(fields.Field[Summary]):
    """`[n, sum]`."""

    def _deserialize(self, value: Any, *_: Any, **__: Any) -> Summary:
        if not (isinstance(value, list) and len(value) == 2):
            raise self.make_error("validator_failed")
        n, total = value
        if type(n) is not int or not 0 <= n <= _MOST_MS or not is_digest(total):
            raise self.make_error("validator_failed")
        return Summary(n, total)

    def _serialize(self, value: Summary | None, *_: Any, **__: Any) -> list[Any]:
        return [value.n, value.sum] if value else []


class UnsentSchema(Schema):
    entries = fields.Integer(required=True, validate=validate.Range(0, _MOST_MS))
    photos = fields.Integer(required=True, validate=validate.Range(0, _MOST_MS))


class HaveSchema(Schema):
    at = fields.Integer(required=True, validate=validate.Range(-_MOST_MS, _MOST_MS), metadata={"description": "Its clock, ms"})
    sessions = fields.Dict(keys=_SESSION, values=SummaryField(), required=True, validate=validate.Length(max=MOST_SESSIONS))
    unsent = fields.Nested(UnsentSchema, required=True)


class ComparedSchema(Schema):
    differ = fields.List(fields.String(), required=True)
    forked = fields.List(fields.String(), required=True)
    clock_off_ms = fields.Integer(required=True, metadata={"description": "How far the device's clock is ahead of the base's"})


class OfferedSchema(Schema):
    sessions = fields.Dict(
        keys=_SESSION, values=fields.List(_DIGEST), required=True, validate=validate.Length(max=MOST_SESSIONS)
    )


class LackSchema(Schema):
    lack = fields.List(fields.String(), required=True)
    forked = fields.List(fields.String(), required=True)


class RefusedSchema(Schema):
    digest = fields.String(required=True)
    why = fields.String(required=True, metadata={"description": "A key of the catalogue"})
    detail = fields.String(required=True, metadata={"description": "A sentence"})


class TakenSchema(Schema):
    held = fields.Integer(required=True)
    sum = fields.String(required=True)
    refused = fields.List(fields.Nested(RefusedSchema), required=True)


class PhotosSchema(Schema):
    photos = fields.List(_DIGEST, required=True, validate=validate.Length(max=MOST_DIGESTS))


class LackedPhotosSchema(Schema):
    lack = fields.List(fields.String(), required=True)


class GroupsSchema(Schema):
    prefixes = fields.Dict(keys=_PREFIX, values=SummaryField(), required=True)


class DifferSchema(Schema):
    differ = fields.List(fields.String(), required=True)


class PrefixesSchema(Schema):
    prefixes = fields.List(_PREFIX, required=True)


class SessionsSchema(Schema):
    sessions = fields.Dict(keys=fields.String(), values=SummaryField(), required=True)


class AfterSchema(Schema):
    after = fields.Integer(load_default=0, validate=validate.Range(0, _MOST_MS))


class PhotoQuerySchema(Schema):
    small = fields.Boolean(load_default=False, metadata={"description": "A small copy"})


class AuthoritySchema(Schema):
    certificate = fields.String(required=True, metadata={"description": "PEM"})


@routes.route("/authority", methods=["GET"])
@routes.response(200, AuthoritySchema)
@admits()
def authority() -> dict[str, str]:
    """By which certificate this base is known again. Whoever asks compares its fingerprint with what the base's page shows."""
    try:
        return {"certificate": (current_base().folder / "authority" / "authority.crt").read_text("ascii")}
    except FileNotFoundError as error:
        raise NotHereError.of("exchange.no_authority") from error


# entries


@routes.route("/have", methods=["POST"])
@routes.arguments(HaveSchema)
@routes.response(200, ComparedSchema)
@admits(CREW, LEAD, VIEWER, BASE, most_bytes=_MOST_LIST_BYTES)
def have(said: dict[str, Any]) -> dict[str, Any]:
    """Compare everything that a device still holds, session by session."""
    found = current_exchange().have(_peer(), said["sessions"])
    unsent = {f"unsent_{what}": n for what, n in said["unsent"].items()}
    clock_off_ms = current_access().devices.told(g.device, its_clock=said["at"], **unsent)
    return {"differ": found.differ, "forked": found.forked, "clock_off_ms": clock_off_ms}


@routes.route("/lack", methods=["POST"])
@routes.arguments(OfferedSchema)
@routes.response(200, LackSchema)
@admits(CREW, LEAD, BASE, most_bytes=_MOST_LIST_BYTES)
def lack(said: dict[str, Any]) -> dict[str, Any]:
    """Which entries of some sessions are not here."""
    found = current_exchange().lack(_peer(), said["sessions"])
    return {"lack": found.lack, "forked": found.forked}


@routes.route("/entries", methods=["POST"])
@routes.response(200, TakenSchema)
@admits(CREW, LEAD, BASE, most_bytes=MOST_BYTES)
def take_entries() -> dict[str, Any]:
    """Take in entry lines: `digest SP bytes LF`, at most 500 and 1 MiB."""
    body = request.get_data()
    if len(body) != _announced():
        raise CutError.of("exchange.cut", said=_announced(), came=len(body))
    taken = current_exchange().take(_peer(), body, clock_off_ms=g.device.clock_off_ms)
    language = reader().language
    refused = [{"digest": one.digest, "why": one.why.key, "detail": one.why.text(language)} for one in taken.refused]
    return {"held": taken.held, "sum": taken.sum, "refused": refused}


@routes.route("/entries", methods=["GET"])
@routes.arguments(AfterSchema, location="query")
@routes.response(200, content_type="text/plain", description="Entry lines; `Next-After` tells where to go on")
@admits(BASE)
def give_entries(asked: dict[str, int]) -> Response:
    """Give another base what arrived here after a place."""
    lines, place = current_exchange().entries_after(asked["after"])
    return Response(lines, content_type="text/plain; charset=utf-8", headers={"Next-After": str(place)})


@routes.route("/compare", methods=["POST"])
@routes.arguments(GroupsSchema)
@routes.response(200, DifferSchema)
@admits(BASE, most_bytes=_MOST_LIST_BYTES)
def compare(said: dict[str, Any]) -> dict[str, Any]:
    """Which groups of sessions differ between two bases."""
    return {"differ": current_exchange().compare(said["prefixes"])}


@routes.route("/sessions", methods=["POST"])
@routes.arguments(PrefixesSchema)
@routes.response(200, SessionsSchema)
@admits(BASE, most_bytes=_MOST_LIST_BYTES)
def sessions(said: dict[str, Any]) -> dict[str, Any]:
    """What is held of each session of some groups."""
    return {"sessions": current_exchange().sessions(said["prefixes"])}


# photos and protocol files


@routes.route("/photos/lack", methods=["POST"])
@routes.arguments(PhotosSchema)
@routes.response(200, LackedPhotosSchema)
@admits(CREW, LEAD, BASE, most_bytes=_MOST_LIST_BYTES)
def photos_lack(said: dict[str, Any]) -> dict[str, Any]:
    """Of which photos and protocol files the bytes are not here."""
    return {"lack": current_exchange().photos_lack(said["photos"])}


@routes.route("/photos/<digest>", methods=["HEAD"])
@routes.response(200, description="`Upload-Offset`: how many bytes are here; `Upload-Complete`: whether that is all")
@admits(CREW, LEAD, BASE)
def offset(digest: str) -> Response:
    """How much of a photo is here."""
    found = current_exchange().offset(_peer(), _named(digest))
    if found is None:
        raise NotHereError.of("photos.not_held", digest=digest)
    return Response(status=HTTPStatus.OK, headers=_progress(*found))


@routes.route("/photos/<digest>", methods=["PATCH"])
@routes.response(204, description="Taken; `Upload-Offset`: how many bytes are here now")
@admits(CREW, LEAD, BASE, most_bytes=PIECE)
def take_piece(digest: str) -> Response:
    """Take in a piece of a photo, at most 1 MiB."""
    size = _announced()
    if size > PIECE:
        raise RequestEntityTooLarge
    body = _Body(size)
    piece = Piece(
        offset=_count("Upload-Offset"),
        bytes=body.pieces(),
        size=size,
        is_last=request.headers.get("Upload-Complete") == "?1",
        length=_count("Upload-Length") if "Upload-Length" in request.headers else None,
    )
    try:
        here = current_exchange().take_piece(_peer(), _named(digest), piece)
    except WrongError as error:
        raise NotFittingError(*error.faults) from error
    if body.missing:
        raise CutError.of("exchange.cut", said=size, came=size - body.missing)
    is_whole = current_exchange().file_of(digest) is not None
    return Response(status=HTTPStatus.NO_CONTENT, headers=_progress(here, is_whole))


@routes.errorhandler(OffsetError)
def _out_of_step(error: OffsetError) -> Response:
    response = told_of_ours(OutOfStepError(*error.faults))
    response.headers["Upload-Offset"] = str(error.offset)
    return response


@routes.route("/photos/<digest>", methods=["GET"])
@routes.arguments(PhotoQuerySchema, location="query")
@routes.response(200, content_type="image/jpeg", description="The bytes")
@admits(CREW, LEAD, VIEWER, BASE)
def give_photo(asked: dict[str, bool], digest: str) -> Response:
    """Give the bytes of a photo or protocol file."""
    path = current_exchange().file_of(_named(digest))
    if path is None:
        raise NotHereError.of("photos.not_held", digest=digest)
    if asked["small"]:
        small = current_exchange().base.small.get(digest, max(SIZES))
        return send_file(small.absolute(), mimetype="image/jpeg", max_age=_YEAR_SECONDS)
    return send_file(path.absolute(), mimetype="application/octet-stream", etag=digest, max_age=_YEAR_SECONDS)


class _Body:
    """The bytes of a request as they come. Where the sender breaks off, what came is given and the rest counted."""

    def __init__(self, size: int) -> None:
        self.missing = size
        # What the application has around it counts what was announced, as is done here, and copies every byte three times.
        self._stream = request.environ["wsgi.input"]

    def pieces(self) -> Iterator[bytes]:
        while self.missing:
            try:
                some = self._stream.read(min(_READ, self.missing))
            except OSError:
                return
            if not some:  # the server below gives nothing, and says nothing, where the sender is gone
                return
            self.missing -= len(some)
            yield some


def _peer() -> Peer:
    return Peer(g.device.id, g.device.role)


def _announced() -> int:
    size = request.content_length
    if size is None:
        raise ApiError.of("exchange.no_length")
    return size


def _count(header: str) -> int:
    said = request.headers.get(header, "")
    if not (said.isascii() and said.isdecimal() and len(said) <= _COUNT_DIGITS):
        raise ApiError.of("exchange.no_count", header=header)
    return int(said)


def _named(digest: str) -> str:
    if not is_digest(digest):
        raise NotHereError.of("photos.no_digest", value=digest[:80])
    return digest


def _progress(offset: int, is_whole: bool) -> dict[str, str]:
    return {"Upload-Offset": str(offset), "Upload-Complete": "?1" if is_whole else "?0"}


def current_exchange() -> Exchange:
    exchange: Exchange = current_app.extensions[EXCHANGE]
    return exchange
