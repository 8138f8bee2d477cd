"""A base of the test programme with its application, and a paired phone."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.exchange.devices import Phone, Station, Way
from tests.support.programme import Reef, base_of


@pytest.fixture
def reef() -> Reef:
    return Reef()


@pytest.fixture
def station(tmp_path: Path, reef: Reef) -> Station:
    return Station(base_of(tmp_path / "base", reef.entries(), [reef.protocol]))


@pytest.fixture
def phone_and_way(station: Station) -> tuple[Phone, Way]:
    device, token = station.paired("crew")
    return Phone(device), Way(station, token)


@pytest.fixture
def phone(phone_and_way: tuple[Phone, Way], reef: Reef) -> Phone:
    phone = phone_and_way[0]
    phone.open_session(site=reef.site, day="2024-06-01", protocol=reef.protocol.digest, recorder="EA")
    return phone


@pytest.fixture
def way(phone_and_way: tuple[Phone, Way]) -> Way:
    return phone_and_way[1]
