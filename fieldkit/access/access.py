"""Who may speak to one base."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from fieldkit.access.database import AccessDatabase
from fieldkit.access.devices import Device, Devices
from fieldkit.access.people import People


def _now() -> int:
    return time.time_ns() // 1_000_000


class Access:
    """The devices and people of one base. Cheap to make; opens nothing until it is asked."""

    def __init__(self, folder: Path, *, clock: Callable[[], int] = _now) -> None:
        """`folder`: that of the base. `clock`: milliseconds since 1970 UTC."""
        self._database = AccessDatabase(folder)
        self.devices = Devices(self._database, clock)
        self.people = People(self._database, clock)

    @contextmanager
    def held_open(self) -> Iterator[None]:
        """While the block lasts, asking is quicker: for who serves the base. What others write is seen at once all the same."""
        with self._database.held():
            yield

    def device_of(self, token: str) -> Device | None:
        """The device that holds this token; None: nobody does, or it was revoked."""
        return self.devices.of_token(token)
