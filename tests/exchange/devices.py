"""Devices that hand in to a real base through the real application: what they hold, and the way there, which may be cut."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from copy import deepcopy
from io import BytesIO
from threading import Lock
from typing import Any, BinaryIO

from flask import Flask

from fieldkit.access import Access
from fieldkit.base import Base
from fieldkit.exchange.errors import ExchangeError
from fieldkit.exchange.handing_in import HandedIn, hand_in
from fieldkit.exchange.wire import API, Answer
from fieldkit.ledger import Entry, mint, new_id, sha256
from fieldkit.ledger.migrations import written_sum
from fieldkit.ledger.store import Summary
from fieldkit.server import create_app


class Station:
    """A base with its application, as a server would run it."""

    def __init__(self, base: Base) -> None:
        self.base = base
        self.access = Access(base.folder)
        self.app: Flask = create_app(base, self.access)

    def paired(self, role: str, called: str = "a phone") -> tuple[str, str]:
        """Id and token of a new device."""
        device, token = self.access.devices.pair(self.access.devices.invite(role), called, "")
        return device.id, token


class Way:
    """The way to a station. `cut` may shorten what is sent, or swallow the answer."""

    def __init__(self, station: Station, token: str) -> None:
        self.station = station
        self.token = token
        self.asked: list[tuple[str, str, int]] = []
        self.lose_answer: Callable[[int], bool] = lambda _n: False
        self.bytes_left: int | None = None
        self._one_at_a_time = Lock()  # photos are sent side by side, and what is cut is counted

    def ask(self, method: str, path: str, *, body: bytes = b"", headers: Mapping[str, str] | None = None) -> Answer:
        with self._one_at_a_time:
            return self._asked(method, path, body, headers)

    def _asked(self, method: str, path: str, body: bytes, headers: Mapping[str, str] | None) -> Answer:
        given = {**(headers or {}), "Authorization": f"Bearer {self.token}"}
        sent = body
        if self.bytes_left is not None:
            sent = body[: self.bytes_left]
            self.bytes_left -= len(sent)
        client = self.station.app.test_client()
        announced = {"CONTENT_LENGTH": str(len(body))}
        answer = client.open(f"{API}/{path}", method=method, headers=given, data=sent, environ_overrides=announced)
        self.asked.append((method, path, answer.status_code))
        read = answer.data
        answer.close()
        if len(sent) < len(body) or self.lose_answer(len(self.asked)):
            raise ExchangeError.of("exchange.no_way", address="test", why="cut")
        return Answer(answer.status_code, {name.lower(): value for name, value in answer.headers.items()}, read)


class Phone:
    """A device: what it sealed, by digest. Writes sessions of its own."""

    def __init__(self, device: str, *, clock: int = 0) -> None:
        self.device = device
        self.clock = clock
        self.entries: dict[str, Entry] = {}
        self.pictures: dict[str, bytes] = {}
        self.session = ""
        self._seq = 0

    def open_session(self, **values: Any) -> Entry:
        self.session, self._seq = new_id(self.clock), 0
        return self.say("session", {"role": "crew", **values})

    def say(self, kind: str, values: Mapping[str, Any], replaces: Iterable[str] = ()) -> Entry:
        self._seq += 1
        entry = mint(
            kind, device=self.device, session=self.session, seq=self._seq, at=self.clock, values=values, replaces=replaces
        )
        self.entries[entry.digest] = entry
        return entry

    def photograph(self, body: bytes) -> str:
        digest = sha256(body)
        self.pictures[digest] = body
        self.say("photo", {"photo": digest, "bytes": len(body), "type": "image/jpeg", "row": self.session})
        return digest

    def cloned(self) -> Phone:
        """The same device once more: a copy, or a backup to be put back later."""
        return deepcopy(self)

    def hand_in(self, way: Way) -> HandedIn:
        unsent = {"entries": len(self.entries), "photos": len(self.pictures)}
        done = hand_in(way, self, at=self.clock, unsent=unsent)
        if self.session in done.forked:  # somebody else went on with it: go on in a session of one's own
            self.open_session(day="2024-06-01")
        return done

    # as a `Holding`

    def summaries(self) -> dict[str, Summary]:
        return {
            session: Summary(len(digests), written_sum(sum(int(digest, 16) for digest in digests)))
            for session, digests in self.digests({entry.session for entry in self.entries.values()}).items()
        }

    def digests(self, sessions: Collection[str]) -> dict[str, list[str]]:
        return {s: sorted(e.digest for e in self.entries.values() if e.session == s) for s in sorted(sessions)}

    def lines(self, digests: Collection[str]) -> list[bytes]:
        return [self.entries[digest].line for digest in digests]

    def photos(self) -> list[str]:
        return sorted(self.pictures)

    def open_photo(self, digest: str) -> BinaryIO:
        return BytesIO(self.pictures[digest])


def held(base: Base) -> set[str]:
    """Digests of all entries that are on a base's disk."""
    with base.glance() as view:
        return {row["digest"] for row in view.rows("SELECT digest FROM ledger WHERE body IS NOT NULL")}
