"""Who is there: asked before anything else, and again and again to learn whether the base can be reached."""

from __future__ import annotations

import time
from typing import Any

from flask_smorest import Blueprint
from marshmallow import Schema, fields

from fieldkit import __version__
from fieldkit.exchange import MOST_BYTES, MOST_LINES, MOST_PHOTO_BYTES, PIECE
from fieldkit.ledger.entry import VERSION as ENTRY
from fieldkit.server.api.door import admits
from fieldkit.server.current import current_base

routes = Blueprint("hello", __name__, description="Who is there")

WIRE = 1


class LimitsSchema(Schema):
    lines = fields.Integer(required=True, metadata={"description": "Entry lines in one request"})
    bytes = fields.Integer(required=True, metadata={"description": "Bytes of them"})
    piece = fields.Integer(required=True, metadata={"description": "Bytes of a piece of a photo"})
    photo = fields.Integer(required=True, metadata={"description": "Bytes of a photo"})


class HelloSchema(Schema):
    wire = fields.Integer(required=True, metadata={"description": "The version of what is spoken here"})
    entry = fields.Integer(required=True, metadata={"description": "The newest version of entries that is understood"})
    version = fields.String(required=True, metadata={"description": "Of fieldkit"})
    base = fields.String(required=True)
    programme = fields.String(required=True)
    programme_name = fields.String(required=True)
    time = fields.Integer(required=True, metadata={"description": "Milliseconds since 1970 UTC"})
    limits = fields.Nested(LimitsSchema, required=True)


@routes.route("/hello", methods=["GET"])
@routes.response(200, HelloSchema)
@routes.doc(security=[])
@admits()
def hello() -> dict[str, Any]:
    """Which base this is, what it speaks, what time it has, and how much it takes at once."""
    base = current_base()
    return {
        "wire": WIRE,
        "entry": ENTRY,
        "version": __version__,
        "base": base.id,
        "programme": base.programme,
        "programme_name": base.programme_name,
        "time": time.time_ns() // 1_000_000,
        "limits": {"lines": MOST_LINES, "bytes": MOST_BYTES, "piece": PIECE, "photo": MOST_PHOTO_BYTES},
    }
