"""The ledger on disk: append, and find again. The only file here that knows SQL.

Durable before it answers: WAL with `synchronous=FULL`, one transaction a batch, on the one writing connection of the base.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Any

from fieldkit.ledger.canonical import sha256
from fieldkit.ledger.entry import Entry
from fieldkit.ledger.subjects import mentions, subjects


MOST_PARSED = 100_000
"""How many parsed entries are held on to: about 100 MB. Chosen by us."""


@dataclass(frozen=True)
class Appended:
    """What became of a batch."""

    new: tuple[Entry, ...]
    known: int


class Ledger:
    """The entries of one base, on an open connection. Appends; changes and removes nothing."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._db = connection
        self._parsed: dict[str, Entry] = {}

    def append(self, entries: Iterable[Entry], *, source: str, received_at: int) -> Appended:
        """Add what is not there yet. The caller holds the transaction.

        Args:
            source: who handed the entries in: a device, a file, this base.
            received_at: this machine's clock, milliseconds; kept in the receipt, read by no fold.
        """
        batch = {entry.digest: entry for entry in entries}
        held = {row[0] for row in self._in("SELECT digest FROM ledger WHERE digest", batch)}
        new = tuple(entry for digest, entry in batch.items() if digest not in held)
        place = self.newest_place
        rows = [(place + i, e.digest, e.session, e.seq, e.kind, e.body) for i, e in enumerate(new, 1)]
        self._db.executemany("INSERT INTO ledger (place, digest, session, seq, kind, body) VALUES (?, ?, ?, ?, ?, ?)", rows)
        for table, column, named in (("mention", "target", mentions), ("about", "subject", subjects)):
            self._db.executemany(
                f"INSERT INTO {table} ({column}, place) VALUES (?, ?)",
                [(name, place + i) for i, entry in enumerate(new, 1) for name in sorted(named(entry))],
            )
        self._db.executemany("INSERT INTO receipt VALUES (?, ?, ?)", [(row[0], received_at, source) for row in rows])
        return Appended(new, len(batch) - len(new))

    @property
    def newest_place(self) -> int:
        return int(self._db.execute("SELECT coalesce(max(place), 0) FROM ledger").fetchone()[0])

    def next_seq(self, session: str) -> int:
        """The next free place in a session of this base's own."""
        return 1 + int(self._db.execute("SELECT coalesce(max(seq), 0) FROM ledger WHERE session = ?", [session]).fetchone()[0])

    def all(self) -> Iterator[Entry]:
        """Every entry whose bytes are here, in order of arrival."""
        return map(self._entry, self._db.execute("SELECT digest, body FROM ledger WHERE body IS NOT NULL ORDER BY place"))

    def with_digests(self, digests: Collection[str]) -> list[Entry]:
        return self._entries("SELECT digest, body FROM ledger WHERE body IS NOT NULL AND digest", digests)

    def of_kind(self, kind: str) -> list[Entry]:
        rows = self._db.execute("SELECT digest, body FROM ledger WHERE kind = ? AND body IS NOT NULL ORDER BY place", [kind])
        return [self._entry(row) for row in rows]

    def of_sessions(self, sessions: Collection[str]) -> list[Entry]:
        return self._entries("SELECT digest, body FROM ledger WHERE body IS NOT NULL AND session", sessions)

    def openings(self, sessions: Collection[str]) -> list[Entry]:
        """The entries with which these sessions open, and corrections of them made within."""
        return self._entries(
            "SELECT digest, body FROM ledger WHERE body IS NOT NULL AND kind = 'session' AND session", sessions
        )

    def about(self, things: Collection[str]) -> list[Entry]:
        """Entries that speak of one of these plots, corals, rows or registered things."""
        return self._entries(
            "SELECT digest, body FROM ledger WHERE body IS NOT NULL AND place IN "
            "(SELECT place FROM about WHERE subject IN (SELECT value FROM json_each(?)))",
            things,
            closed=True,
        )

    def mentioning(self, names: Collection[str]) -> list[Entry]:
        """Entries that replace, rule upon or redact one of these digests or sessions, or take back one of these imports."""
        return self._entries(
            "SELECT digest, body FROM ledger WHERE body IS NOT NULL AND place IN "
            "(SELECT place FROM mention WHERE target IN (SELECT value FROM json_each(?)))",
            names,
            closed=True,
        )

    def sessions_received_since(self, day: date) -> list[str]:
        """Sessions of which an entry came in on that day (UTC) or later."""
        since = 1000 * int(datetime.combine(day, time.min, UTC).timestamp())
        sql = "SELECT DISTINCT session FROM ledger JOIN receipt USING (place) WHERE received_at >= ? ORDER BY session"
        return [row[0] for row in self._db.execute(sql, [since])]

    def rotten(self) -> Iterator[str]:
        """Digests of entries whose bytes are not theirs any more."""
        rows = self._db.execute("SELECT digest, body FROM ledger WHERE body IS NOT NULL ORDER BY place")
        return (digest for digest, body in rows if sha256(body) != digest)

    def counts(self) -> dict[str, int]:
        """How many entries of each kind."""
        return dict(self._db.execute("SELECT kind, count(*) FROM ledger GROUP BY kind ORDER BY kind"))

    def _entries(self, sql: str, names: Collection[str], *, closed: bool = False) -> list[Entry]:
        return [self._entry(row) for row in self._in(sql, names, closed=closed)]

    def _entry(self, row: tuple[str, bytes]) -> Entry:
        """An entry from its row. The strata of a fold ask for the same ones again and again: each is parsed once."""
        if (known := self._parsed.get(row[0])) is not None:
            return known
        if len(self._parsed) >= MOST_PARSED:
            self._parsed.clear()
        return self._parsed.setdefault(row[0], _entry(row))

    def _in(self, sql: str, names: Collection[str], *, closed: bool = False) -> list[Any]:
        """Rows of a query over a set of names of any size: json_each knows no limit on the number of parameters."""
        if not closed:
            sql += " IN (SELECT value FROM json_each(?))"
        return self._db.execute(sql, [json.dumps(list(names))]).fetchall() if names else []


def _entry(row: tuple[str, bytes]) -> Entry:
    """An entry from its stored bytes: they were judged at the door, and `check` proves them again."""
    digest, body = row
    said = json.loads(body)
    return Entry(
        digest=digest,
        body=body,
        v=said["v"],
        kind=said["kind"],
        device=said["device"],
        session=said["session"],
        seq=said["seq"],
        at=said["at"],
        replaces=tuple(said["replaces"]),
        values=said["values"],
    )
