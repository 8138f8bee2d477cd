"""A session as a device writes it: its entries in order, none left out, closed with their number and sum."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any

from fieldkit.ledger import Entry, mint
from sample.dice import milliseconds, name_of, stream
from sample.programme import SEED


class Log:
    """One session's log, growing. Entries are some seconds apart, as a person types them.

    Args:
        name: what the session is, in words; its id follows from it.
        device: id of the one device that writes it.
        opened_at: when its first entry was made.
        head: values of the `session` entry.
    """

    def __init__(self, name: str, *, device: str, opened_at: datetime, head: Mapping[str, Any]) -> None:
        self.id = name_of(SEED, opened_at, "session", name)
        self.name = name
        self.head = head
        self.entries: list[Entry] = []
        self._device = device
        self._at = opened_at
        self._pace = stream(SEED, "typing", name)
        self._photos = 0
        self.say("session", head)

    def say(self, kind: str, values: Mapping[str, Any], *, replaces: Iterable[str] = ()) -> Entry:
        """Append an entry of this kind and give it back."""
        entry = mint(
            kind,
            device=self._device,
            session=self.id,
            seq=len(self.entries) + 1,
            at=milliseconds(self._at),
            values=values,
            replaces=replaces,
        )
        self._photos += kind == "photo"
        self._at += timedelta(seconds=self._pace.randint(8, 45))
        self.entries.append(entry)
        return entry

    def new_row(self, row: object) -> str:
        """The id of a line of the slate."""
        return name_of(SEED, self._at, "row", self.id, row)

    def close(self) -> Entry:
        """The last word: how many entries came before it, the sum of their digests, and how many photos belong to them."""
        total = sum(int(entry.digest, 16) for entry in self.entries) % 2**256
        return self.say("close", {"n": len(self.entries), "sum": f"{total:064x}", "photos": str(self._photos)})
