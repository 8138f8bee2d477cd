"""How the ledger's tables came to look as they do: numbered steps, each run once, in one transaction with the record of it."""

from __future__ import annotations

import sqlite3
from contextlib import closing

from sqlite_utils import Database, Migrations

ledger = Migrations("ledger")

CHANGES_NOTHING = """
    CREATE TRIGGER ledger_changes_nothing BEFORE UPDATE ON ledger
        WHEN NEW.body IS NOT NULL OR NEW.digest <> OLD.digest OR NEW.session <> OLD.session
        OR NEW.seq <> OLD.seq OR NEW.kind <> OLD.kind OR NEW.place <> OLD.place
        BEGIN SELECT RAISE(ABORT, 'an entry never changes'); END
"""
"""The bytes of an entry may go, where a lead redacts it; nothing else of it may change."""


@ledger()
def m001_entries(db: Database) -> None:
    """The entries, and who names whom.

    `place` is the local order of arrival, for "what is new since"; nothing else reads it. `mention` and `about` only help
    to find entries again; both follow from the bodies.
    """
    for statement in (
        """
        CREATE TABLE ledger (
            place INTEGER PRIMARY KEY,
            digest TEXT NOT NULL UNIQUE,
            session TEXT NOT NULL,
            seq INTEGER NOT NULL,
            kind TEXT NOT NULL,
            body BLOB
        ) STRICT
        """,
        "CREATE INDEX ledger_session ON ledger (session, seq)",
        """
        CREATE TRIGGER ledger_keeps_every_row BEFORE DELETE ON ledger
            BEGIN SELECT RAISE(ABORT, 'the ledger keeps every entry'); END
        """,
        CHANGES_NOTHING,
        """
        CREATE TABLE mention (
            target TEXT NOT NULL, place INTEGER NOT NULL, PRIMARY KEY (target, place)
        ) STRICT, WITHOUT ROWID
        """,
        """
        CREATE TABLE about (
            subject TEXT NOT NULL, place INTEGER NOT NULL, PRIMARY KEY (subject, place)
        ) STRICT, WITHOUT ROWID
        """,
        "CREATE TABLE receipt (place INTEGER PRIMARY KEY, received_at INTEGER NOT NULL, source TEXT NOT NULL) STRICT",
        "CREATE TABLE base (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT, WITHOUT ROWID",
    ):
        db.conn.execute(statement)


@ledger()
def m002_summaries(db: Database) -> None:
    """What each session holds, by number and sum; one receipt for each batch instead of each entry; how far the state goes.

    `summary` follows from the ledger: `n` entries whose bytes are here, `sum` their digests added up modulo 2^256. It is kept
    so that a hand-in costs the same however large the ledger is.
    """
    db.conn.execute(
        "CREATE TABLE summary (session TEXT PRIMARY KEY, n INTEGER NOT NULL, sum TEXT NOT NULL) STRICT, WITHOUT ROWID"
    )
    put_summaries(db.conn)
    db.conn.execute("ALTER TABLE receipt RENAME TO receipt_of_entry")
    db.conn.execute(
        """
        CREATE TABLE receipt (
            first INTEGER PRIMARY KEY, last INTEGER NOT NULL,
            received_at INTEGER NOT NULL, source TEXT NOT NULL, clock_off_ms INTEGER
        ) STRICT
        """
    )
    db.conn.execute(
        """
        INSERT INTO receipt (first, last, received_at, source)
        SELECT min(place), max(place), received_at, source FROM (
            SELECT *, place - row_number() OVER (PARTITION BY received_at, source ORDER BY place) AS batch FROM receipt_of_entry
        ) GROUP BY received_at, source, batch
        """
    )
    db.conn.execute("DROP TABLE receipt_of_entry")
    # What is here was folded as it came; from now on the state may follow later than the acknowledgement.
    db.conn.execute("INSERT INTO base SELECT 'folded', coalesce(max(place), 0) FROM ledger")


def put_summaries(connection: sqlite3.Connection) -> None:
    """Compute all summaries from the ledger."""
    connection.execute("DELETE FROM summary")
    found: dict[str, tuple[int, int]] = {}
    for session, digest in connection.execute("SELECT session, digest FROM ledger WHERE body IS NOT NULL"):
        n, total = found.get(session, (0, 0))
        found[session] = n + 1, total + int(digest, 16)
    rows = [(session, n, written_sum(total)) for session, (n, total) in sorted(found.items())]
    connection.executemany("INSERT INTO summary VALUES (?, ?, ?)", rows)


def written_sum(total: int) -> str:
    """A sum of digests as it is kept and sent: modulo 2^256, 64 hexadecimal digits."""
    return f"{total % 2**256:064x}"


def is_newer(db: Database) -> bool:
    """Whether a later version took steps that this one does not know."""
    with closing(sqlite3.connect(":memory:")) as nothing:
        known = {step.name for step in ledger.pending(Database(nothing))}
    return any(step.name not in known for step in ledger.applied(db))
