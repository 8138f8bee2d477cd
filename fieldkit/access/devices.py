"""Devices: how one is paired, known again, and turned away when it was lost."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from dataclasses import dataclass

from fieldkit.access.attempts import Attempts
from fieldkit.access.codes import as_typed, new_code
from fieldkit.access.database import AccessDatabase
from fieldkit.access.errors import AccessError
from fieldkit.access.roles import ROLES
from fieldkit.access.secret import digest, new_token
from fieldkit.ledger import new_id

CODE_MINUTES = 15
MOST_NAME_LENGTH = 60
_HEARD_EVERY_MS = 60_000  # a device that hands in asks many times a minute, and each note of it is a write
_COLUMNS = "id, name, role, paired_at, revoked_at, heard_at, clock_off_ms, unsent_entries, unsent_photos"


@dataclass(frozen=True)
class Device:
    """A phone, tablet, laptop or other base that may speak to this one. Instants are milliseconds since 1970 UTC."""

    id: str
    name: str
    role: str
    paired_at: int
    revoked_at: int | None = None
    heard_at: int | None = None
    """When it last asked for anything."""
    clock_off_ms: int | None = None
    """How far its clock is ahead of ours, as last told."""
    unsent_entries: int | None = None
    """How many entries only it holds, as it told last; None: it never told."""
    unsent_photos: int | None = None


class Devices:
    """The devices of one base."""

    def __init__(self, database: AccessDatabase, clock: Callable[[], int]) -> None:
        self._database = database
        self._clock = clock
        self._attempts = Attempts()

    def invite(self, role: str) -> str:
        """A code by which one device can be paired, once and soon."""
        if role not in ROLES:
            raise AccessError.of("access.no_role", given=role, known=", ".join(ROLES))
        code, at = new_code(), self._clock()
        with self._database.writing() as connection:
            connection.execute("DELETE FROM code WHERE until <= ?", (at,))
            connection.execute("INSERT INTO code VALUES (?, ?, ?)", (digest(code), role, at + CODE_MINUTES * 60_000))
        return code

    def pair(self, code: str, name: str, address: str) -> tuple[Device, str]:
        """Take a device in, and give it the token by which it is known from now on.

        Args:
            code: as typed.
            name: what people call it, 1 to 60 characters.
            address: where it asks from: each has few tries.

        Raises:
            AccessError: no such code, or it was used, or its time is over; or there is no name.
            TooManyError: too many wrong codes were tried.
        """
        name = " ".join(name.split())
        if not 0 < len(name) <= MOST_NAME_LENGTH:
            raise AccessError.of("access.no_device_name", most=MOST_NAME_LENGTH)
        self._attempts.may_try(address)
        at, token = self._clock(), new_token()
        with self._database.writing() as connection:
            role = self._use_up(connection, as_typed(code) or "", at)
            device = Device(new_id(at), name, role, at) if role else None
            if device:
                connection.execute(
                    "INSERT INTO device (id, name, role, token, paired_at) VALUES (?, ?, ?, ?, ?)",
                    (device.id, device.name, device.role, digest(token), at),
                )
        if device is None:
            self._attempts.failed(address)
            raise AccessError.of("access.wrong_code", minutes=CODE_MINUTES)
        return device, token

    def _use_up(self, connection: sqlite3.Connection, code: str, at: int) -> str | None:
        """The role that a code gives. It is worth nothing from now on."""
        found = connection.execute("DELETE FROM code WHERE digest = ? RETURNING role, until", (digest(code),)).fetchone()
        return str(found["role"]) if found and found["until"] > at else None

    def of_token(self, token: str) -> Device | None:
        """Whose token this is; None: nobody's, or it was revoked."""
        with self._database.reading() as connection:
            found = connection.execute(
                f"SELECT {_COLUMNS} FROM device WHERE token = ? AND revoked_at IS NULL", (digest(token),)
            ).fetchone()
        return Device(**found) if found else None

    def all(self) -> list[Device]:
        """Every device that was ever paired, those that may still speak first, the newest of each first."""
        with self._database.reading() as connection:
            found = connection.execute(f"SELECT {_COLUMNS} FROM device ORDER BY revoked_at IS NOT NULL, paired_at DESC, id")
            return [Device(**row) for row in found]

    def heard(self, device: Device) -> None:
        """Note that a device asked for something, to the minute."""
        at = self._clock()
        if device.heard_at is None or abs(at - device.heard_at) >= _HEARD_EVERY_MS:
            with self._database.writing() as connection:
                connection.execute("UPDATE device SET heard_at = ? WHERE id = ?", (at, device.id))

    def told(self, device: Device, *, its_clock: int, unsent_entries: int, unsent_photos: int) -> int:
        """Note what a device says of itself.

        Args:
            its_clock: milliseconds since 1970 UTC, as it believes.

        Returns:
            how many milliseconds its clock is ahead of ours.
        """
        at = self._clock()
        with self._database.writing() as connection:
            connection.execute(
                "UPDATE device SET heard_at = ?, clock_off_ms = ?, unsent_entries = ?, unsent_photos = ? WHERE id = ?",
                (at, its_clock - at, unsent_entries, unsent_photos, device.id),
            )
        return its_clock - at

    def revoke(self, id_: str) -> Device:
        """Turn a device away from now on. What it handed in stays.

        Raises:
            AccessError: there is no such device.
        """
        with self._database.writing() as connection:
            connection.execute("UPDATE device SET revoked_at = ? WHERE id = ? AND revoked_at IS NULL", (self._clock(), id_))
            found = connection.execute(f"SELECT {_COLUMNS} FROM device WHERE id = ?", (id_,)).fetchone()
        if found is None:
            raise AccessError.of("access.no_device", given=id_)
        return Device(**found)
