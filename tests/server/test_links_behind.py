"""Every number of corals on the survival pages leads to a list of just so many corals."""

from __future__ import annotations

import re
from html import unescape
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from fieldkit.base import Base
from fieldkit.server import create_app
from tests.server.test_survival_parts import two_sites

_LINK = re.compile(r'<a href="(/survival/corals\?[^"]*)">([^<]*)</a>')
_LISTED = re.compile(r"<strong>([\d,]+) corals?</strong>")
PAGES = (
    "/survival/groups?by=site",
    "/survival/groups?by=genotype&estimate=found&age=365",
    "/survival/matrix",
    "/survival/ranking",
    "/survival/causes?by=site",
    "/survival/period?by=site&from=2024-11-05&until=2025-11-01",
    "/survival/effort?by=genotype",
)
FIGURES = ("at_risk", "dead", "missing", "corals", "planted", "lost", "living", "at_start", "alive", "not_seen", "joined")


@pytest.fixture(scope="module")
def asked(sample: Path) -> FlaskClient:
    return create_app(Base(sample)).test_client()


def links(client: FlaskClient, address: str) -> dict[str, int]:
    """Where the numbers of corals on a page lead, and the number."""
    found = {unescape(to): "".join(filter(str.isdigit, told)) for to, told in _LINK.findall(client.get(address).text)}
    return {to: int(number) for to, number in found.items() if number}


def listed(client: FlaskClient, address: str) -> int:
    answer = client.get(address)
    assert answer.status_code == 200, address
    (number,) = _LISTED.findall(answer.text)
    return int(number.replace(",", ""))


@pytest.fixture(scope="module")
def led(asked: FlaskClient) -> dict[str, dict[str, int]]:
    return {page: links(asked, page) for page in PAGES}


@pytest.mark.parametrize("page", PAGES)
def test_as_many_corals_are_listed_as_the_figure_says(asked: FlaskClient, led: dict[str, dict[str, int]], page: str) -> None:
    some = {_figure(to): (to, number) for to, number in led[page].items()}  # one of each figure that the page tells
    assert {to: listed(asked, to) for to, _ in some.values()} == dict(some.values())
    assert some


def test_every_figure_of_corals_is_told_somewhere_with_the_way_to_them(led: dict[str, dict[str, int]]) -> None:
    told = {_figure(to) for found in led.values() for to in found}
    assert {f"figure={name}" for name in FIGURES} <= told and "cause" in told and "beside" in told


def _figure(address: str) -> str:
    """What stands behind a link: the pair, the cause, or the figure that it names."""
    named = next((name for name in ("beside", "cause") if f"{name}=" in address), None)
    return named or "".join(re.findall(r"figure=\w+", address))


def test_the_corals_of_a_pair_are_those_at_the_sites_that_have_both(tmp_path: Path) -> None:
    client = create_app(two_sites().base(tmp_path)).test_client()
    told = {to: number for to, number in links(client, "/survival/ranking").items() if "beside=" in to}
    assert told and {to: listed(client, to) for to in told} == told


def test_a_figure_of_a_period_needs_its_first_day(asked: FlaskClient) -> None:
    assert asked.get("/survival/corals?figure=joined").status_code == 400
    assert asked.get("/survival/corals?figure=at_risk&since=2025-06-01").status_code == 400
