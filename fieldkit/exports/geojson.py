"""Sites for a map: GeoJSON (RFC 7946), as exactly as the scope tells places."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import BinaryIO

from fieldkit.exports.places import placed
from fieldkit.exports.programme import Programme
from fieldkit.protocol import number
from fieldkit.reports.question import Question
from fieldkit.reports.survival import answer

_COUNTS = ("corals", "dead", "missing", "plots")


def write(file: BinaryIO, programme: Programme) -> Mapping[str, int]:
    """A point each site, with how many corals were planted there and what is known of them; longitude first, WGS 84.

    Returns:
        How many sites have no position to be told: `no_position`.
    """
    counts = _counts(programme)
    places = placed(programme.sites_here.values(), programme.scope.places)
    features = [
        {
            "type": "Feature",
            "id": site["site"],
            "geometry": {"type": "Point", "coordinates": [float(where.longitude), float(where.latitude)]},
            "properties": {
                "name": site.get("name"),
                "code": site.get("code"),
                "depth_m": None if (depth := number(site.get("depth_m"))) is None else float(depth),
                "habitat": site.get("habitat"),
                "uncertainty_m": where.uncertainty_m,
                "rounded_to": None if where.grain == "exact" else where.grain,
                "as_of": programme.scope.as_of.isoformat() if programme.scope.as_of else None,
                **counts.get(str(site.get("name")), dict.fromkeys(_COUNTS, 0)),
            },
        }
        for site, where in places
    ]
    text = json.dumps({"type": "FeatureCollection", "features": features}, ensure_ascii=False, indent=1)
    file.write(text.encode("utf-8") + b"\n")
    return {"no_position": len(programme.sites_here) - len(places)}


def _counts(programme: Programme) -> dict[str, dict[str, int]]:
    """Of each site, the corals planted, found dead and missing, by its name."""
    question = Question(by=("site",), where=programme.scope.where, as_of=programme.scope.as_of, limits="none")
    found = answer(programme.view, question)
    return {
        group["group"]["site"]: dict(
            zip(_COUNTS, (group["corals"], group["deaths"], group["missing"], group["plots"]), strict=True)
        )
        for group in found["groups"]
    }
