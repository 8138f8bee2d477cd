"""People who open the base's pages over the network: their names, their passwords, and how long a sign-in lasts."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import cache

from werkzeug.security import check_password_hash, generate_password_hash

from fieldkit.access.attempts import Attempts
from fieldkit.access.database import AccessDatabase
from fieldkit.access.errors import AccessError
from fieldkit.access.roles import PERSON_ROLES
from fieldkit.access.secret import digest, new_token
from fieldkit.ledger import new_id

LEAST_PASSWORD_LENGTH = 10
MOST_PASSWORD_LENGTH = 200
MOST_NAME_LENGTH = 40
IDLE_MS = 12 * 60 * 60_000  # a boat day and its evening
LONGEST_MS = 7 * 24 * 60 * 60_000
_USED_EVERY_MS = 60_000


@dataclass(frozen=True)
class Person:
    """Somebody who may open the pages."""

    id: str
    name: str
    role: str


class People:
    """The people of one base."""

    def __init__(self, database: AccessDatabase, clock: Callable[[], int]) -> None:
        self._database = database
        self._clock = clock
        self._attempts = Attempts()
        self._checking = threading.Lock()  # scrypt takes 32 MiB: many at once would stop an old laptop, and tries are counted

    def all(self) -> list[Person]:
        with self._database.reading() as connection:
            return [Person(**row) for row in connection.execute("SELECT id, name, role FROM person ORDER BY name")]

    def add(self, name: str, role: str, password: str) -> Person:
        """Let somebody in.

        Raises:
            AccessError: the name is taken or none, the role is unknown, or the password is too short or too long.
        """
        name = " ".join(name.split())
        if not 0 < len(name) <= MOST_NAME_LENGTH:
            raise AccessError.of("access.no_name", most=MOST_NAME_LENGTH)
        person = Person(new_id(self._clock()), name, _known(role))
        kept = _hashed(password)
        with self._database.writing() as connection:
            if _named(connection, name):
                raise AccessError.of("access.name_taken", name=name)
            connection.execute("INSERT INTO person VALUES (?, ?, ?, ?)", (person.id, name, role, kept))
        return person

    def set_password(self, name: str, password: str) -> Person:
        """Give somebody another password, and end what was begun under the old one."""
        kept = _hashed(password)
        with self._database.writing() as connection:
            person = _found(connection, name)
            connection.execute("UPDATE person SET password = ? WHERE id = ?", (kept, person.id))
            connection.execute("DELETE FROM sign_in WHERE person = ?", (person.id,))
        return person

    def set_role(self, name: str, role: str) -> Person:
        role = _known(role)
        with self._database.writing() as connection:
            person = _found(connection, name)
            connection.execute("UPDATE person SET role = ? WHERE id = ?", (role, person.id))
        return Person(person.id, person.name, role)

    def remove(self, name: str) -> Person:
        """Let somebody in no more. What they said stays."""
        with self._database.writing() as connection:
            person = _found(connection, name)
            connection.execute("DELETE FROM person WHERE id = ?", (person.id,))
        return person

    # signing in

    def sign_in(self, name: str, password: str, address: str) -> str:
        """A token for the browser of somebody who knows their password.

        Args:
            address: where they ask from: each has few tries.

        Raises:
            AccessError: no such name with this password. Which of the two is wrong is not said.
            TooManyError: too many tries failed.
        """
        with self._checking:
            self._attempts.may_try(address)
            with self._database.reading() as connection:
                kept = _named(connection, " ".join(name.split()))
            is_right = check_password_hash(kept["password"] if kept else _nobodys(), password[: MOST_PASSWORD_LENGTH + 1])
            if kept is None or not is_right:
                self._attempts.failed(address)
                raise AccessError.of("access.wrong_password")
        token, at = new_token(), self._clock()
        with self._database.writing() as connection:
            connection.execute("DELETE FROM sign_in WHERE used_at <= ? OR began_at <= ?", (at - IDLE_MS, at - LONGEST_MS))
            connection.execute("INSERT INTO sign_in VALUES (?, ?, ?, ?)", (digest(token), kept["id"], at, at))
        return token

    def signed_in(self, token: str) -> Person | None:
        """Who signed in with this token; None: nobody, or it was too long ago, or too long without a word."""
        at = self._clock()
        with self._database.reading() as connection:
            found = connection.execute(
                "SELECT person.id, name, role, used_at FROM sign_in JOIN person ON person.id = sign_in.person"
                " WHERE token = ? AND used_at > ? AND began_at > ?",
                (digest(token), at - IDLE_MS, at - LONGEST_MS),
            ).fetchone()
        if found is None:
            return None
        if at - found["used_at"] >= _USED_EVERY_MS:
            with suppress(AccessError), self._database.writing() as connection:  # the disk may be full, and pages still be read
                connection.execute("UPDATE sign_in SET used_at = ? WHERE token = ?", (at, digest(token)))
        return Person(found["id"], found["name"], found["role"])

    def sign_out(self, token: str) -> None:
        with self._database.writing() as connection:
            connection.execute("DELETE FROM sign_in WHERE token = ?", (digest(token),))


def _known(role: str) -> str:
    if role not in PERSON_ROLES:
        raise AccessError.of("access.no_role", given=role, known=", ".join(PERSON_ROLES))
    return role


@cache
def _nobodys() -> str:
    """Checked where the name is unknown, so that the time an answer takes does not tell which names are known."""
    return generate_password_hash(new_token())


def _hashed(password: str) -> str:
    if not LEAST_PASSWORD_LENGTH <= len(password) <= MOST_PASSWORD_LENGTH:
        raise AccessError.of("access.bad_password", least=LEAST_PASSWORD_LENGTH, most=MOST_PASSWORD_LENGTH)
    return generate_password_hash(password)


def _named(connection: sqlite3.Connection, name: str) -> sqlite3.Row | None:
    found: sqlite3.Row | None = connection.execute("SELECT * FROM person WHERE name = ?", (name,)).fetchone()
    return found


def _found(connection: sqlite3.Connection, name: str) -> Person:
    row = _named(connection, " ".join(name.split()))
    if row is None:
        raise AccessError.of("access.no_person", name=name)
    return Person(row["id"], row["name"], row["role"])
