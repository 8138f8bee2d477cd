"""Pairing: a code from the base's screen against a token that the device keeps."""

from __future__ import annotations

from typing import Any

from flask import request
from flask_smorest import Blueprint
from marshmallow import Schema, fields, validate

from fieldkit.access import ROLES
from fieldkit.server.api.door import admits
from fieldkit.server.api.problems import TYPE as PROBLEM
from fieldkit.server.api.problems import ProblemSchema
from fieldkit.server.current import current_access, current_base

routes = Blueprint("pair", __name__, description="Pairing")


class AskedSchema(Schema):
    code = fields.String(required=True, validate=validate.Length(max=40), metadata={"description": "As typed"})
    name = fields.String(required=True, validate=validate.Length(max=200), metadata={"description": "What people call it"})


class PairedSchema(Schema):
    device = fields.String(required=True, metadata={"description": "Its id: what its entries name as their writer"})
    token = fields.String(required=True, metadata={"description": "Told this once"})
    role = fields.String(required=True, validate=validate.OneOf(ROLES))
    base = fields.String(required=True)
    programme = fields.String(required=True)
    programme_name = fields.String(required=True)


@routes.route("/pair", methods=["POST"])
@routes.arguments(AskedSchema)
@routes.doc(security=[])
@routes.response(200, PairedSchema)
@routes.alt_response(403, schema=ProblemSchema, content_type=PROBLEM, description="The code is wrong, used or outdated")
@routes.alt_response(429, schema=ProblemSchema, content_type=PROBLEM, description="Too many wrong codes; Retry-After says when")
@admits()
def pair(asked: dict[str, str]) -> dict[str, Any]:
    """Take a device in by a one-time code."""
    base = current_base()
    device, token = current_access().devices.pair(asked["code"], asked["name"], request.remote_addr or "")
    return {
        "device": device.id,
        "token": token,
        "role": device.role,
        "base": base.id,
        "programme": base.programme,
        "programme_name": base.programme_name,
    }
