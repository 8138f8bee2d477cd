"""A device is paired once by a code, known by its token, and turned away when it is revoked."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldkit.access import CODE_LENGTH, CODE_MINUTES, Access, AccessError, TooManyError, spelt
from fieldkit.access.attempts import MOST_IN_TOTAL, MOST_OF_ADDRESS

PHONE = "192.168.8.20"


class Clock:
    """Milliseconds that pass when a test says so."""

    now = 1_796_000_000_000

    def __call__(self) -> int:
        return self.now

    def pass_minutes(self, minutes: float) -> None:
        self.now += round(minutes * 60_000)


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def access(tmp_path: Path, clock: Clock) -> Access:
    return Access(tmp_path, clock=clock)


def test_a_code_pairs_a_device_that_is_known_by_its_token(access: Access) -> None:
    device, token = access.devices.pair(access.devices.invite("crew"), "Blue phone", PHONE)
    known = access.device_of(token)
    assert known and (known.id, known.name, known.role) == (device.id, "Blue phone", "crew")


@pytest.mark.parametrize(
    "typed", [str.lower, spelt, lambda code: f" {code[:3]} {code[3:]} ".replace("0", "o").replace("1", "l")]
)
def test_a_code_is_known_however_it_is_typed(access: Access, typed: object) -> None:
    assert callable(typed)
    access.devices.pair(typed(access.devices.invite("crew")), "Blue phone", PHONE)


def test_a_code_pairs_one_device_only(access: Access) -> None:
    code = access.devices.invite("crew")
    access.devices.pair(code, "first", PHONE)
    with pytest.raises(AccessError):
        access.devices.pair(code, "second", PHONE)


def test_a_code_is_over_after_its_time(access: Access, clock: Clock) -> None:
    code = access.devices.invite("crew")
    clock.pass_minutes(CODE_MINUTES)
    with pytest.raises(AccessError):
        access.devices.pair(code, "late", PHONE)


def test_a_code_without_a_name_is_not_used_up(access: Access) -> None:
    code = access.devices.invite("crew")
    with pytest.raises(AccessError):
        access.devices.pair(code, "  ", PHONE)
    access.devices.pair(code, "Blue phone", PHONE)


def test_whoever_guesses_codes_is_heard_no_more_even_with_the_right_one(access: Access) -> None:
    code = access.devices.invite("crew")
    for _ in range(MOST_OF_ADDRESS):
        with pytest.raises(AccessError):
            access.devices.pair("0" * CODE_LENGTH, "guess", PHONE)
    with pytest.raises(TooManyError):
        access.devices.pair(code, "guess", PHONE)
    access.devices.pair(code, "another phone", "192.168.8.21")


def test_guessing_from_many_addresses_ends_too(access: Access) -> None:
    for n in range(MOST_IN_TOTAL):
        with pytest.raises(AccessError):
            access.devices.pair("0" * CODE_LENGTH, "guess", f"10.0.0.{n}")
    with pytest.raises(TooManyError) as refused:
        access.devices.pair("0" * CODE_LENGTH, "guess", "10.0.1.1")
    assert 0 < refused.value.seconds <= 15 * 60


def test_a_revoked_device_is_not_known_and_still_listed(access: Access) -> None:
    device, token = access.devices.pair(access.devices.invite("lead"), "Lost phone", PHONE)
    access.devices.revoke(device.id)
    assert access.device_of(token) is None
    assert [(one.name, one.revoked_at is not None) for one in access.devices.all()] == [("Lost phone", True)]


def test_no_device_is_revoked_that_is_not_there(access: Access) -> None:
    with pytest.raises(AccessError):
        access.devices.revoke("nobody")


def test_what_a_device_tells_of_itself_is_kept(access: Access, clock: Clock) -> None:
    device, token = access.devices.pair(access.devices.invite("crew"), "Blue phone", PHONE)
    off = access.devices.told(device, its_clock=clock() + 90_000, unsent_entries=31, unsent_photos=4)
    known = access.device_of(token)
    assert known and off == 90_000
    assert (known.clock_off_ms, known.unsent_entries, known.unsent_photos, known.heard_at) == (90_000, 31, 4, clock())


def test_nothing_by_which_somebody_could_get_in_stands_in_the_file(access: Access, tmp_path: Path) -> None:
    first, second = access.devices.invite("crew"), access.devices.invite("crew")
    _, token = access.devices.pair(first, "Blue phone", PHONE)
    access.people.add("Ana", "lead", "three wet words")
    sign_in = access.people.sign_in("Ana", "three wet words", PHONE)
    bytes_ = b"".join(path.read_bytes() for path in tmp_path.glob("access.db*"))
    assert [secret for secret in (second, token, sign_in, "three wet words") if secret.encode() in bytes_] == []


def test_another_process_sees_what_was_changed(access: Access, tmp_path: Path) -> None:
    device, token = access.devices.pair(access.devices.invite("crew"), "Blue phone", PHONE)
    Access(tmp_path).devices.revoke(device.id)
    assert access.device_of(token) is None


def test_a_role_that_there_is_not_is_refused(access: Access) -> None:
    with pytest.raises(AccessError):
        access.devices.invite("admin")


def test_a_folder_that_cannot_be_written_is_told_in_words(tmp_path: Path) -> None:
    (tmp_path / "file").touch()
    with pytest.raises(AccessError, match="cannot be read or written"):
        Access(tmp_path / "file").devices.all()


def test_a_device_that_was_turned_away_by_a_command_is_not_known_to_the_server_any_more(tmp_path: Path) -> None:
    """Who serves keeps a connection open; what others write is seen all the same."""
    serving, command = Access(tmp_path), Access(tmp_path)
    device, token = command.devices.pair(command.devices.invite("crew"), "a phone", "")
    with serving.held_open():
        known = serving.device_of(token)
        command.devices.revoke(device.id)
        assert known and known.id == device.id and serving.device_of(token) is None
