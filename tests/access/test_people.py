"""People sign in with a password, and a sign-in ends: by idling, by age, by a new password, by their leaving."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from fieldkit.access import Access, AccessError, TooManyError
from fieldkit.access.attempts import MOST_OF_ADDRESS
from fieldkit.access.people import IDLE_MS, LONGEST_MS

WORDS = "three wet words"
HERE = "192.168.8.30"


class Clock:
    now = 1_796_000_000_000

    def __call__(self) -> int:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def access(tmp_path: Path, clock: Clock) -> Access:
    made = Access(tmp_path, clock=clock)
    made.people.add("Ana", "lead", WORDS)
    return made


def test_whoever_knows_the_password_is_known_afterwards(access: Access) -> None:
    person = access.people.signed_in(access.people.sign_in(" ana ", WORDS, HERE))
    assert person and (person.name, person.role) == ("Ana", "lead")


@pytest.mark.parametrize(("name", "password"), [("Ana", "three dry words"), ("Ana", ""), ("Bea", WORDS)])
def test_nobody_else_gets_in_and_is_not_told_which_of_the_two_is_wrong(access: Access, name: str, password: str) -> None:
    with pytest.raises(AccessError) as refused:
        access.people.sign_in(name, password, HERE)
    assert [fault.key for fault in refused.value.faults] == ["access.wrong_password"]


def test_guessing_passwords_ends(access: Access) -> None:
    for n in range(MOST_OF_ADDRESS):
        with pytest.raises(AccessError):
            access.people.sign_in("Ana", f"guess number {n}", HERE)
    with pytest.raises(TooManyError):
        access.people.sign_in("Ana", WORDS, HERE)


def test_a_sign_in_ends_after_idling(access: Access, clock: Clock) -> None:
    token = access.people.sign_in("Ana", WORDS, HERE)
    clock.now += IDLE_MS
    assert access.people.signed_in(token) is None


def test_a_sign_in_that_is_used_ends_all_the_same(access: Access, clock: Clock) -> None:
    token = access.people.sign_in("Ana", WORDS, HERE)
    known = []
    for _ in range(0, LONGEST_MS, IDLE_MS // 2):
        known.append(access.people.signed_in(token) is not None)
        clock.now += IDLE_MS // 2
    assert all(known) and access.people.signed_in(token) is None


def test_a_new_password_ends_what_was_begun_under_the_old_one(access: Access) -> None:
    token = access.people.sign_in("Ana", WORDS, HERE)
    access.people.set_password("ana", "four quite wet words")
    assert access.people.signed_in(token) is None
    assert access.people.signed_in(access.people.sign_in("Ana", "four quite wet words", HERE))


def test_whoever_is_removed_is_out_at_once(access: Access) -> None:
    token = access.people.sign_in("Ana", WORDS, HERE)
    access.people.remove("Ana")
    assert (access.people.signed_in(token), access.people.all()) == (None, [])


def test_another_role_holds_at_once(access: Access) -> None:
    token = access.people.sign_in("Ana", WORDS, HERE)
    access.people.set_role("Ana", "viewer")
    person = access.people.signed_in(token)
    assert person and person.role == "viewer"


def test_signing_out_ends_one_browsers_sign_in_only(access: Access) -> None:
    here, there = (access.people.sign_in("Ana", WORDS, HERE) for _ in range(2))
    access.people.sign_out(here)
    assert (access.people.signed_in(here), access.people.signed_in(there) is not None) == (None, True)


@pytest.mark.parametrize(
    ("name", "role", "password"),
    [("ANA", "crew", WORDS), ("", "crew", WORDS), ("Bea", "base", WORDS), ("Bea", "crew", "short"), ("Bea", "crew", "x" * 201)],
)
def test_a_person_who_cannot_be_is_refused(access: Access, name: str, role: str, password: str) -> None:
    with pytest.raises(AccessError):
        access.people.add(name, role, password)


@pytest.mark.parametrize("change", ["remove", "set_password", "set_role"])
def test_nobody_is_changed_who_is_not_there(access: Access, change: str) -> None:
    more = {"remove": [], "set_password": [WORDS], "set_role": ["crew"]}[change]
    with pytest.raises(AccessError, match="Bea"):
        getattr(access.people, change)("Bea", *more)


def test_many_who_guess_at_once_have_no_more_tries_than_one(access: Access) -> None:
    def guess(n: int) -> bool:
        try:
            access.people.sign_in("Ana", f"guess number {n}", HERE)
        except TooManyError:
            return False
        except AccessError:
            return True
        raise AssertionError("a guess was right")

    with ThreadPoolExecutor(8) as guessing:
        assert sum(guessing.map(guess, range(2 * MOST_OF_ADDRESS))) == MOST_OF_ADDRESS
