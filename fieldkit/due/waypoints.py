"""The sites of a day as waypoints for whatever finds them at sea: GPX 1.1 (https://www.topografix.com/GPX/1/1/). Pure.

A plot has no position of its own: satellites are not heard under water. So a site is one waypoint, and its plots stand in its
description with landmark, bearing and distance. The waypoints are also a route, in the order of the day.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from xml.etree import ElementTree

from fieldkit.protocol.number import number, written

NAMESPACE = "http://www.topografix.com/GPX/1/1"
CREATOR = "fieldkit"


@dataclass(frozen=True, slots=True)
class Waypoint:
    """A place: WGS 84, decimal degrees as they were typed; `told` is for whoever reads it on the boat."""

    name: str
    latitude: str
    longitude: str
    told: str


def waypoint(name: str, latitude: object, longitude: object, told: str) -> Waypoint | None:
    """A waypoint; None where the position is none: GPX wants latitudes within 90 degrees, longitudes from -180 to below 180."""
    north, east = number(latitude), number(longitude)
    if north is None or east is None or not (-90 <= north <= 90 and -180 <= east <= 180):
        return None
    return Waypoint(name, str(written(latitude)), "-180" if east == 180 else str(written(longitude)), told)


def as_gpx(title: str, told: str, waypoints: Iterable[Waypoint], *, is_route: bool = True) -> bytes:
    """A GPX 1.1 document, UTF-8.

    Args:
        told: what the whole says of itself, for people.
        waypoints: in the order of the day; a place that is gone to twice stands twice in the route and once among the points.
        is_route: whether one goes from each to the next.
    """
    waypoints = list(waypoints)
    root = ElementTree.Element("gpx", {"xmlns": NAMESPACE, "version": "1.1", "creator": CREATOR})
    metadata = ElementTree.SubElement(root, "metadata")
    _say(metadata, title, told)
    for one in dict.fromkeys(waypoints):
        _point(root, "wpt", one)
    if waypoints and is_route:  # the schema knows a route without points, but devices do not
        route = ElementTree.SubElement(root, "rte")
        _say(route, title, "")
        for one in waypoints:
            _point(route, "rtept", one)
    ElementTree.indent(root)
    made: bytes = ElementTree.tostring(root, encoding="utf-8", xml_declaration=True)
    return made


def _point(parent: ElementTree.Element, called: str, one: Waypoint) -> None:
    _say(ElementTree.SubElement(parent, called, {"lat": one.latitude, "lon": one.longitude}), one.name, one.told)


def _say(element: ElementTree.Element, name: str, told: str) -> None:
    """Name and description, in the order that the schema asks for."""
    for called, text in (("name", name), ("desc", told)):
        if text:
            ElementTree.SubElement(element, called).text = "".join(sign for sign in text if sign >= " " or sign == "\n")
