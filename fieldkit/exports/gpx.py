"""Sites for a boat's navigator: waypoints as GPX 1.1, as exactly as the scope tells places."""

from __future__ import annotations

from collections.abc import Mapping
from typing import BinaryIO

from fieldkit import messages
from fieldkit.due.waypoints import as_gpx, waypoint
from fieldkit.exports.places import Position, placed
from fieldkit.exports.programme import Programme


def write(file: BinaryIO, programme: Programme) -> Mapping[str, int]:
    """A waypoint each site, with words on how far it may be off: it leads a boat to a reef, and is no chart.

    Returns:
        How many sites have no position to be told: `no_position`.
    """
    made = [
        waypoint(str(site.get("name", "")), f"{where.latitude:f}", f"{where.longitude:f}", how_exact(where, programme.language))
        for site, where in placed(programme.sites_here.values(), programme.scope.places)
    ]
    points = [one for one in made if one]
    caution = messages.text("exports.no_chart", programme.language)
    file.write(as_gpx(programme.name, caution, points, is_route=False))
    return {"no_position": len(programme.sites_here) - len(points)}


def how_exact(where: Position, language: str) -> str:
    """How exact a position is, in words."""
    exact = where.grain == "exact"
    told = [messages.text("exports.place_exact" if exact else "exports.place_rounded", language, grain=where.grain)]
    if where.uncertainty_m is not None:
        told.append(messages.text("exports.place_uncertain", language, metres=where.uncertainty_m))
    return " ".join(told)
