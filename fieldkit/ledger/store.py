"""The ledger on disk: append, and find again. The only file here that knows SQL.

The caller holds the connection and the transaction, and so decides when what was appended is durable. What goes wrong in
the database stays an `sqlite3.Error` up to there; bytes that are not those of their digest any more are a `StoreError`,
wherever they turn up.
"""

from __future__ import annotations

import json
import sqlite3
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time

from fieldkit.ledger.canonical import sha256
from fieldkit.ledger.entry import Entry
from fieldkit.ledger.errors import StoreError
from fieldkit.ledger.migrations import CHANGES_NOTHING, put_summaries, written_sum
from fieldkit.ledger.subjects import mentions, subjects

MOST_PARSED = 100_000
"""How many parsed entries are held on to: about 100 MB. Chosen by us."""

_INDEXED_AT_ONCE = 10_000

_HERE = "SELECT digest, body FROM ledger WHERE body IS NOT NULL"
_NAMED = "(SELECT value FROM json_each(?))"  # a set of any size: the number of parameters is limited, the length of one is not


@dataclass(frozen=True)
class Appended:
    """What became of a batch."""

    new: tuple[Entry, ...]
    known: int


@dataclass(frozen=True, slots=True)
class Summary:
    """What is held of a session, or of several: how many entries, and the sum of their digests. Equal sums, equal sets."""

    n: int
    sum: str
    """Modulo 2^256, 64 hexadecimal digits."""


class Ledger:
    """The entries of one base, on an open connection. Appends; removes nothing, changes nothing but what `empty` empties."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._db = connection
        self._parsed: dict[str, Entry] = {}

    # writing

    def append(self, entries: Iterable[Entry], *, source: str, received_at: int, clock_off_ms: int | None = None) -> Appended:
        """Add what is not there yet. Bytes that rotted on the disk are replaced by those that came.

        Args:
            source: who handed the entries in: a device, a file, this base.
            received_at: this machine's clock, milliseconds; kept in the receipt, read by no fold.
            clock_off_ms: by how much the source's clock was ahead of this one, where it told; likewise.
        """
        batch = {entry.digest: entry for entry in entries}
        held = dict(self._db.execute(f"SELECT digest, body FROM ledger WHERE digest IN {_NAMED}", [_json(batch)]))
        self._mend([batch[digest] for digest, body in held.items() if body not in (None, batch[digest].body)])
        new = tuple(entry for digest, entry in batch.items() if digest not in held)
        placed = list(enumerate(new, self.newest_place + 1))
        self._db.executemany(
            "INSERT INTO ledger (place, digest, session, seq, kind, body) VALUES (?, ?, ?, ?, ?, ?)",
            [(place, e.digest, e.session, e.seq, e.kind, e.body) for place, e in placed],
        )
        if placed:
            receipt = [placed[0][0], placed[-1][0], received_at, source, clock_off_ms]
            self._db.execute("INSERT INTO receipt VALUES (?, ?, ?, ?, ?)", receipt)
        self._add_up(new, 1)
        return Appended(new, len(held))

    def index(self) -> None:
        """Let what arrived since the last time be found by what it speaks of and whom it names.

        Apart from `append`, for it takes as long: whoever hands in waits until entries are on the disk, not until they are
        found. Whatever is computed from them begins with this.
        """
        row = self._db.execute("SELECT value FROM base WHERE name = 'indexed'").fetchone()
        done, newest = int(row[0]) if row else 0, self.newest_place
        for first in range(done, newest, _INDEXED_AT_ONCE):
            rows = self._db.execute(
                "SELECT place, digest, body FROM ledger WHERE body IS NOT NULL AND place > ? AND place <= ?",
                [first, first + _INDEXED_AT_ONCE],
            )
            placed = [(place, self._entry((digest, body))) for place, digest, body in rows]
            for table, column, named in (("mention", "target", mentions), ("about", "subject", subjects)):
                self._db.executemany(
                    # What an earlier version wrote with the entry is here already.
                    f"INSERT INTO {table} ({column}, place) VALUES (?, ?) ON CONFLICT DO NOTHING",
                    [(name, place) for place, entry in placed for name in sorted(named(entry))],
                )
        if newest > done:
            self._db.execute("INSERT OR REPLACE INTO base VALUES ('indexed', ?)", [str(newest)])

    def empty(self, digests: Collection[str]) -> None:
        """Take the bytes of redacted entries off the disk; their rows stay, so that they are known when offered again."""
        if not digests:
            return
        going = self.with_digests(digests)
        self._db.execute("PRAGMA secure_delete = ON")  # freed bytes are overwritten, not just forgotten
        self._db.execute(f"UPDATE ledger SET body = NULL WHERE body IS NOT NULL AND digest IN {_NAMED}", [_json(digests)])
        self._add_up(going, -1)
        for digest in digests:
            self._parsed.pop(digest, None)

    def sum_up(self) -> None:
        """Compute the summaries anew."""
        put_summaries(self._db)

    def _add_up(self, entries: Collection[Entry], sign: int) -> None:
        """Bring the summaries up to date with entries that came, or went."""
        changed: dict[str, list[int]] = defaultdict(list)
        for entry in entries:
            changed[entry.session].append(int(entry.digest, 16))
        before = self.summaries(changed)
        after = [
            (session, old.n + sign * len(digests), written_sum(int(old.sum, 16) + sign * sum(digests)))
            for session, digests in changed.items()
            if (old := before.get(session, _NOTHING))
        ]
        self._db.executemany("INSERT OR REPLACE INTO summary VALUES (?, ?, ?)", after)

    def _mend(self, entries: Collection[Entry]) -> None:
        """Put sound bytes in the place of rotten ones. The trigger rightly forbids it, so it is lifted for these rows alone."""
        if not entries:
            return
        self._db.execute("DROP TRIGGER ledger_changes_nothing")
        self._db.executemany("UPDATE ledger SET body = ? WHERE digest = ?", [(entry.body, entry.digest) for entry in entries])
        self._db.execute(CHANGES_NOTHING)

    # reading

    @property
    def newest_place(self) -> int:
        return int(self._db.execute("SELECT coalesce(max(place), 0) FROM ledger").fetchone()[0])

    def all(self) -> Iterator[Entry]:
        """Every entry whose bytes are here, in order of arrival."""
        return map(self._entry, self._db.execute(f"{_HERE} ORDER BY place"))

    def sound(self) -> Iterator[Entry]:
        """The same, without those whose bytes are not theirs any more."""
        rows = self._db.execute(f"{_HERE} ORDER BY place")
        return (_entry(digest, body) for digest, body in rows if sha256(body) == digest)

    def after(self, place: int, most: int = -1) -> list[Entry]:
        """What arrived after a place, in order of arrival; at most so many."""
        return list(map(self._entry, self._db.execute(f"{_HERE} AND place > ? ORDER BY place LIMIT ?", [place, most])))

    def lines_after(self, place: int, most: int) -> Iterator[tuple[int, bytes]]:
        """Place and line, as it travels, of what arrived after a place; of rotten bytes an empty one. Parses nothing."""
        rows = self._db.execute(
            "SELECT place, digest, body FROM ledger WHERE body IS NOT NULL AND place > ? ORDER BY place LIMIT ?", [place, most]
        )
        for at, digest, body in rows:
            yield at, b"%s %s\n" % (digest.encode("ascii"), body) if sha256(body) == digest else b""

    def bodies(self, digests: Collection[str]) -> dict[str, bytes | None]:
        """Of these digests those that are known, with their bytes; None where they were redacted."""
        return dict(self._db.execute(f"SELECT digest, body FROM ledger WHERE digest IN {_NAMED}", [_json(digests)]))

    def summaries(self, sessions: Collection[str] | None = None) -> dict[str, Summary]:
        """What is held of each of these sessions, or of all; without those of which nothing is."""
        sql, named = "SELECT session, n, sum FROM summary", []
        if sessions is not None:
            sql, named = f"{sql} WHERE session IN {_NAMED}", [_json(sessions)]
        return {session: Summary(n, total) for session, n, total in self._db.execute(sql, named) if n}

    def shared_places(self, sessions: Collection[str]) -> set[str]:
        """Those of these sessions in which a place is taken twice: one device lived two lives."""
        rows = self._db.execute(
            f"SELECT DISTINCT session FROM ledger WHERE session IN {_NAMED} GROUP BY session, seq HAVING count(*) > 1",
            [_json(sessions)],
        )
        return {row[0] for row in rows}

    def digests_of(self, sessions: Collection[str]) -> dict[str, set[str]]:
        """Digests of the entries of each of these sessions whose bytes are here."""
        found: dict[str, set[str]] = defaultdict(set)
        rows = self._db.execute(
            f"SELECT session, digest FROM ledger WHERE body IS NOT NULL AND session IN {_NAMED}", [_json(sessions)]
        )
        for session, digest in rows:
            found[session].add(digest)
        return dict(found)

    def session_ids(self) -> list[str]:
        """Every session of which an entry is here."""
        rows = self._db.execute("SELECT DISTINCT session FROM ledger WHERE body IS NOT NULL ORDER BY session")
        return [row[0] for row in rows]

    def with_digests(self, digests: Collection[str]) -> list[Entry]:
        return self._entries(f"digest IN {_NAMED}", digests)

    def of_kind(self, kind: str) -> list[Entry]:
        return list(map(self._entry, self._db.execute(f"{_HERE} AND kind = ? ORDER BY place", [kind])))

    def of_sessions(self, sessions: Collection[str]) -> list[Entry]:
        return self._entries(f"session IN {_NAMED}", sessions)

    def openings(self, sessions: Collection[str]) -> list[Entry]:
        """The entries with which these sessions open."""
        return self._entries(f"session IN {_NAMED} AND seq = 1", sessions)

    def about(self, things: Collection[str]) -> list[Entry]:
        """Entries that speak of one of these plots, corals, rows or registered things, as far as `index` went."""
        return self._entries(f"place IN (SELECT place FROM about WHERE subject IN {_NAMED})", things)

    def mentioning(self, names: Collection[str]) -> list[Entry]:
        """Entries that replace, rule upon or redact one of these digests or sessions, or take back one of these imports; as
        far as `index` went."""
        return self._entries(f"place IN (SELECT place FROM mention WHERE target IN {_NAMED})", names)

    def sessions_received_since(self, day: date) -> list[str]:
        """Sessions of which an entry came in on that day (UTC) or later."""
        since = 1000 * int(datetime.combine(day, time.min, UTC).timestamp())
        sql = (
            "SELECT DISTINCT session FROM ledger JOIN receipt ON place BETWEEN first AND last"
            " WHERE received_at >= ? ORDER BY session"
        )
        return [row[0] for row in self._db.execute(sql, [since])]

    def rotten(self) -> Iterator[str]:
        """Digests of entries whose bytes are not theirs any more."""
        return (digest for digest, body in self._db.execute(f"{_HERE} ORDER BY place") if sha256(body) != digest)

    def counts(self) -> dict[str, int]:
        """How many entries of each kind, those that were redacted included."""
        return dict(self._db.execute("SELECT kind, count(*) FROM ledger GROUP BY kind ORDER BY kind"))

    def _entries(self, condition: str, names: Collection[str]) -> list[Entry]:
        return list(map(self._entry, self._db.execute(f"{_HERE} AND {condition}", [_json(names)]))) if names else []

    def _entry(self, row: tuple[str, bytes]) -> Entry:
        """An entry from its row. The strata of a fold ask for the same ones again and again: each is parsed once."""
        if (known := self._parsed.get(row[0])) is not None:
            return known
        if len(self._parsed) >= MOST_PARSED:
            self._parsed.clear()
        return self._parsed.setdefault(row[0], _entry(*row))


def _entry(digest: str, body: bytes) -> Entry:
    """An entry from its stored bytes: they were judged at the door, and have only to be the same still."""
    if sha256(body) != digest:
        raise StoreError.of("base.rotten_entry", digest=digest)
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


_NOTHING = Summary(0, "0" * 64)


def summed(summaries: Iterable[Summary]) -> Summary:
    """Several sessions taken together."""
    n = total = 0
    for one in summaries:
        n, total = n + one.n, total + int(one.sum, 16)
    return Summary(n, written_sum(total))


def _json(names: Iterable[str]) -> str:
    return json.dumps(list(names))
