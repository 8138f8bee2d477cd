"""Waypoints as an outside reader takes them: gpxpy, which reads what the GPX 1.1 schema allows (topografix.com/GPX/1/1)."""

from __future__ import annotations

from xml.etree import ElementTree

import gpxpy
import pytest

from fieldkit.due.waypoints import NAMESPACE, as_gpx, waypoint

RAY = waypoint("Ray Steps", "-6.90188", "167,91975", "RAY-01: 12 m at 190° from: mooring & float <2>\nRAY-02")
OLD = waypoint("Old Moorings", "-6.9", "180", "")
assert RAY and OLD


def test_an_outside_reader_finds_every_site_once_and_the_route_in_the_order_of_the_day() -> None:
    read = gpxpy.parse(as_gpx("Work for 10 Nov 2026", "It plans work, not dives.", [RAY, OLD, RAY]))
    assert (read.version, read.creator, read.description) == ("1.1", "fieldkit", "It plans work, not dives.")
    assert [(one.name, one.latitude, one.longitude) for one in read.waypoints] == [
        ("Ray Steps", -6.90188, 167.91975),
        ("Old Moorings", -6.9, -180.0),
    ]
    assert read.waypoints[0].description == "RAY-01: 12 m at 190° from: mooring & float <2>\nRAY-02"
    assert [one.name for one in read.routes[0].points] == ["Ray Steps", "Old Moorings", "Ray Steps"]


def test_elements_stand_in_the_order_of_the_schema() -> None:
    """gpxType: metadata, wpt, rte; wptType and rteType: name before desc, points last. The schema's order, from memory."""
    root = ElementTree.fromstring(as_gpx("Title", "told", [RAY, OLD]))
    assert root.tag == f"{{{NAMESPACE}}}gpx"
    assert [one.tag.partition("}")[2] for one in root] == ["metadata", "wpt", "wpt", "rte"]
    assert [[one.tag.partition("}")[2] for one in part] for part in root] == [
        ["name", "desc"],
        ["name", "desc"],
        ["name"],
        ["name", "rtept", "rtept"],
    ]


@pytest.mark.parametrize(("latitude", "longitude"), [("91", "0"), ("0", "181"), (None, "1"), ("here", "1"), ("1", "")])
def test_what_is_no_position_is_no_waypoint(latitude: object, longitude: object) -> None:
    assert waypoint("Ray Steps", latitude, longitude, "") is None


def test_a_sign_that_no_document_may_hold_is_left_out() -> None:
    odd = waypoint("A\x07B", "1", "1", "")
    assert odd and gpxpy.parse(as_gpx("T\x00", "", [odd])).waypoints[0].name == "AB"
