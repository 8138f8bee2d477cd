"""Codes, devices and people from the command line, beside a running server."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldkit.access import Access
from tests.cli.terminal import typed

WORDS = "three wet words"


def test_a_code_from_the_command_line_pairs_a_device(reef: Path) -> None:
    told = typed(reef, "pair", "--role", "lead", "--json").json
    device, _ = Access(reef).devices.pair(told["code"], "Blue phone", "10.0.0.1")
    assert (device.role, told["page"].endswith(f".local:8443/enter#pair/{told['code']}")) == ("lead", True)


@pytest.mark.parametrize("by", ["id", "ending", "name"])
def test_a_lost_device_is_turned_away(reef: Path, by: str) -> None:
    access = Access(reef)
    device, token = access.devices.pair(access.devices.invite("crew"), "Blue phone", "10.0.0.1")
    access.devices.pair(access.devices.invite("crew"), "Red phone", "10.0.0.1")
    called = {"id": device.id, "ending": device.id[-4:], "name": "blue phone"}[by]
    done = typed(reef, "devices", "revoke", called)
    assert (done.code, access.device_of(token)) == (0, None)


@pytest.mark.parametrize("called", ["Green phone", "phone", ""])
def test_no_device_is_turned_away_that_was_not_meant(reef: Path, called: str) -> None:
    access = Access(reef)
    for name in ("phone", "phone"):
        access.devices.pair(access.devices.invite("crew"), name, "10.0.0.1")
    done = typed(reef, "devices", "revoke", called)
    assert done.code == 2 and [one.revoked_at for one in access.devices.all()] == [None, None]


def test_the_list_of_devices_tells_what_only_they_hold(reef: Path) -> None:
    access = Access(reef)
    device, _ = access.devices.pair(access.devices.invite("crew"), "Blue phone", "10.0.0.1")
    access.devices.told(device, its_clock=0, unsent_entries=31, unsent_photos=4)
    (told,) = typed(reef, "devices", "--json").json
    assert (told["name"], told["unsent_entries"], told["unsent_photos"]) == ("Blue phone", 31, 4)
    assert "31" in typed(reef, "devices").out


def test_a_lost_password_is_mended_at_the_laptop(reef: Path) -> None:
    people = Access(reef).people
    typed(reef, "people", "add", "Ana", "--role", "lead", typing=WORDS + "\n")
    typed(reef, "people", "password", "Ana", typing="four quite wet words\n")
    person = people.signed_in(people.sign_in("Ana", "four quite wet words", "10.0.0.1"))
    assert person and person.role == "lead"


def test_people_are_given_a_role_and_removed(reef: Path) -> None:
    typed(reef, "people", "add", "Ana", typing=WORDS + "\n")
    typed(reef, "people", "role", "Ana", "--role", "crew")
    listed = typed(reef, "people", "--json").json
    typed(reef, "people", "remove", "Ana")
    assert ([(one["name"], one["role"]) for one in listed], Access(reef).people.all()) == ([("Ana", "crew")], [])


@pytest.mark.parametrize(
    "words",
    [["add"], ["list", "Ana"], ["role", "Ana"], ["remove", "Bea"], ["password", "Ana", "--role", "crew"], ["add", "Ana"]],
)
def test_what_cannot_be_is_refused_as_used_wrongly(reef: Path, words: list[str]) -> None:
    Access(reef).people.add("Ana", "viewer", WORDS)
    assert typed(reef, "people", *words, typing="short\n").code == 2
