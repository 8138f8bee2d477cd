"""A paired device gets the register, once until something changes; nobody else gets it."""

from __future__ import annotations

import gzip
import json

import pytest
from flask.testing import FlaskClient

from fieldkit.access import Access
from fieldkit.base import Base, Statement
from tests.support.programme import name

REGISTER = "/api/v1/register"


@pytest.fixture
def token(access: Access) -> str:
    return access.devices.pair(access.devices.invite("crew"), "Blue phone", "10.0.0.1")[1]


def bearing(token: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {token}"}


def test_a_paired_device_gets_it_with_the_name_of_its_base(client: FlaskClient, base: Base, token: str) -> None:
    found = client.get(REGISTER, headers=bearing(token)).json
    assert found and (found["base"], found["programme"], found["plots"]) == (base.id, base.programme, [])


def test_nothing_is_sent_again_until_something_changed(client: FlaskClient, base: Base, token: str) -> None:
    etag = client.get(REGISTER, headers=bearing(token)).headers["ETag"]
    again = client.get(REGISTER, headers=bearing(token) | {"If-None-Match": etag})
    base.say([Statement("site", {"site": name("site"), "name": "Amo"})])
    changed = client.get(REGISTER, headers=bearing(token) | {"If-None-Match": etag})
    assert (again.status_code, again.data, changed.status_code) == (304, b"", 200)


def test_it_is_packed_for_whoever_takes_that(client: FlaskClient, token: str) -> None:
    packed = client.get(REGISTER, headers=bearing(token) | {"Accept-Encoding": "gzip"})
    plain = client.get(REGISTER, headers=bearing(token))
    assert json.loads(gzip.decompress(packed.data)) == plain.json


@pytest.mark.parametrize("said", ["", "Bearer ", "Bearer nobody", "Basic YTpi", "Bearer \xff"])
def test_whoever_bears_no_token_gets_nothing(client: FlaskClient, said: str) -> None:
    answer = client.get(REGISTER, headers={"Authorization": said} if said else {})
    assert (answer.status_code, answer.headers["WWW-Authenticate"]) == (401, "Bearer")


def test_a_revoked_device_gets_nothing(client: FlaskClient, access: Access, token: str) -> None:
    (device,) = access.devices.all()
    access.devices.revoke(device.id)
    assert client.get(REGISTER, headers=bearing(token)).status_code == 401


def test_a_device_that_asks_was_heard(client: FlaskClient, access: Access, token: str) -> None:
    client.get(REGISTER, headers=bearing(token))
    assert access.devices.all()[0].heard_at is not None
