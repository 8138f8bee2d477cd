"""The page that shows phones the way: codes, addresses, the Wi-Fi, and the devices with what only they hold."""

from __future__ import annotations

import re

import pytest
from flask.testing import FlaskClient

from fieldkit.access import Access, as_typed
from fieldkit.base import Base
from fieldkit.server import Authority, Reach, Wifi, create_app
from fieldkit.server.current import REACH
from tests.server.asking import token_of

ADDRESS = "192.168.8.2"


@pytest.fixture
def reach(base: Base) -> Reach:
    authority = Authority.of(base.folder, base.programme_name)
    return Reach(authority, base.id, port=8443, plain_port=8440, addresses=lambda: [ADDRESS, "203.0.113.7"])


@pytest.fixture
def access(base: Base) -> Access:
    return Access(base.folder)


@pytest.fixture
def client(base: Base, access: Access, reach: Reach) -> FlaskClient:
    app = create_app(base, access)
    app.extensions[REACH] = reach
    return app.test_client()


def sent(client: FlaskClient, path: str, **form: str) -> str:
    return client.post(path, data={"token": token_of(client.get("/reach").text), **form}, follow_redirects=True).text


def test_name_address_and_short_code_stand_there(client: FlaskClient, reach: Reach) -> None:
    text = client.get("/reach").text
    pages = (reach.page(), f"https://{ADDRESS}:8443/enter", f"http://{reach.name}:8440/")
    assert [one for one in (*pages, "R2M0-G0M2", reach.authority.fingerprint) if one not in text] == []


def test_no_address_is_shown_for_which_no_certificate_would_be_good(client: FlaskClient) -> None:
    assert "203.0.113.7" not in client.get("/reach").text


def test_a_code_from_the_page_pairs_a_device_in_the_role_chosen(client: FlaskClient, access: Access) -> None:
    text = sent(client, "/reach/code", role="viewer")
    found = re.search(r'class="pairing-code">([^<]+)<', text)
    assert found and (code := as_typed(found[1]))
    assert access.devices.pair(code, "Blue phone", "10.0.0.1")[0].role == "viewer"


def test_a_role_that_there_is_not_gets_no_code(client: FlaskClient) -> None:
    assert "is no role" in sent(client, "/reach/code", role="admin")


def test_the_wifi_is_shown_as_a_code_once_it_was_typed(client: FlaskClient, reach: Reach) -> None:
    assert "Scan to join" in sent(client, "/reach/wifi", name="Boat", password="salt;water")
    assert reach.wifi and reach.wifi.code == r"WIFI:T:WPA;S:Boat;P:salt\;water;;"


def test_a_wifi_without_a_password_says_so_in_its_code() -> None:
    assert Wifi("Boat").code == "WIFI:T:nopass;S:Boat;;"


def test_a_password_is_not_told_on_the_page(client: FlaskClient) -> None:
    assert "saltwater" not in sent(client, "/reach/wifi", name="Boat", password="saltwater")


def test_a_name_longer_than_a_wifi_can_have_is_refused(client: FlaskClient, reach: Reach) -> None:
    assert "at most 32 bytes" in sent(client, "/reach/wifi", name="é" * 17) and reach.wifi is None


def test_devices_are_listed_with_what_only_they_hold(client: FlaskClient, access: Access) -> None:
    device, _ = access.devices.pair(access.devices.invite("crew"), "Blue phone", "10.0.0.1")
    access.devices.told(device, its_clock=0, unsent_entries=31, unsent_photos=1)
    text = client.get("/reach").text
    assert [one for one in ("Blue phone", "31 notes, 1 photo", "minutes behind") if one not in text] == []


def test_a_lost_device_is_turned_away(client: FlaskClient, access: Access) -> None:
    device, token = access.devices.pair(access.devices.invite("crew"), "Blue phone", "10.0.0.1")
    assert "turned away" in sent(client, "/reach/revoke", device=device.id)
    assert access.device_of(token) is None


def test_where_only_this_computer_is_served_the_page_says_so(base: Base) -> None:
    assert "serves this computer alone" in create_app(base).test_client().get("/reach").text


@pytest.mark.parametrize("language", ["en", "es"])
def test_a_device_cannot_bring_markup_in_by_its_name(client: FlaskClient, access: Access, language: str) -> None:
    access.devices.pair(access.devices.invite("crew"), "<script>alert(1)</script>", "10.0.0.1")
    assert "<script>alert" not in client.get(f"/reach?lang={language}").text
