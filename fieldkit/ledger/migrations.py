"""How the database of a base came to look as it does: numbered steps, each run once, in one transaction with the record of it."""

from __future__ import annotations

from sqlite_utils import Database, Migrations

ledger = Migrations("ledger")


@ledger()
def m001_entries(db: Database) -> None:
    """The entries, and who names whom.

    `place` is the local order of arrival, for "what is new since"; nothing else reads it. `mention` and `about` only help to find
    entries again; both follow from the bodies.
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
        """
        CREATE TRIGGER ledger_changes_nothing BEFORE UPDATE ON ledger
            WHEN NEW.body IS NOT NULL OR NEW.digest <> OLD.digest OR NEW.session <> OLD.session
            OR NEW.seq <> OLD.seq OR NEW.kind <> OLD.kind OR NEW.place <> OLD.place
            BEGIN SELECT RAISE(ABORT, 'an entry never changes'); END
        """,
        "CREATE TABLE mention (target TEXT NOT NULL, place INTEGER NOT NULL, PRIMARY KEY (target, place)) STRICT, WITHOUT ROWID",
        "CREATE TABLE about (subject TEXT NOT NULL, place INTEGER NOT NULL, PRIMARY KEY (subject, place)) STRICT, WITHOUT ROWID",
        "CREATE TABLE receipt (place INTEGER PRIMARY KEY, received_at INTEGER NOT NULL, source TEXT NOT NULL) STRICT",
        "CREATE TABLE base (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT, WITHOUT ROWID",
    ):
        db.conn.execute(statement)
