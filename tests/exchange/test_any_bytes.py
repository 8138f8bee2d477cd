"""Any bytes at any request: it is done or refused in problem details, and nothing fails."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.exchange.devices import Station, Way, held
from tests.support.programme import base_of

POSTS = ["have", "lack", "entries", "photos/lack", "compare", "sessions"]
NUMBERS = st.integers(-(2**70), 2**70) | st.floats() | st.none() | st.booleans()
KNOWN = ["at", "sessions", "unsent", "entries", "photos", "prefixes", "0123", "a" * 64, "\ud800"]
NAMES = st.sampled_from(KNOWN) | st.text(max_size=5)
VALUES = st.recursive(NUMBERS | NAMES, lambda v: st.lists(v, max_size=3) | st.dictionaries(NAMES, v, max_size=4), max_leaves=10)
BODIES = st.binary(max_size=200) | VALUES.map(lambda value: json.dumps(value).encode("utf-8", "surrogatepass"))
HEADERS = st.dictionaries(
    st.sampled_from(["Upload-Offset", "Upload-Complete", "Upload-Length", "Content-Type"]),
    st.sampled_from(["0", "-1", "1", "?1", "?0", "9" * 30, "x", "", "application/json", "application/partial-upload"]),
)


@pytest.fixture(scope="module")
def way() -> Iterator[Way]:
    with tempfile.TemporaryDirectory() as folder:
        station = Station(base_of(Path(folder) / "base"))
        yield Way(station, station.paired("base")[1])


@settings(max_examples=60, suppress_health_check=list(HealthCheck))
@given(path=st.sampled_from(POSTS), body=BODIES, headers=HEADERS)
def test_whatever_is_posted_is_answered_or_refused_in_words(way: Way, path: str, body: bytes, headers: dict[str, str]) -> None:
    answer = way.ask("POST", path, body=body, headers={"Content-Type": "application/json", **headers})
    assert answer.status < 500 and (answer.is_good or json.loads(answer.body)["title"])
    assert held(way.station.base) == set()


@settings(max_examples=60, suppress_health_check=list(HealthCheck))
@given(
    method=st.sampled_from(["PATCH", "HEAD", "GET"]),
    name=st.sampled_from(["a" * 64, "b" * 64, "..", "x", "A" * 64]),
    body=st.binary(max_size=50),
    headers=HEADERS,
)
def test_whatever_is_asked_of_a_photo_is_answered_or_refused(
    way: Way, method: str, name: str, body: bytes, headers: dict[str, str]
) -> None:
    assert way.ask(method, f"photos/{name}", body=body, headers=headers).status < 500
