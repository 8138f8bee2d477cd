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


def is_newer(db: Database) -> bool:
    """Whether a later version took steps that this one does not know."""
    with closing(sqlite3.connect(":memory:")) as nothing:
        known = {step.name for step in ledger.pending(Database(nothing))}
    return any(step.name not in known for step in ledger.applied(db))
