"""How the tables came to look as they do: numbered steps, each run once."""

from __future__ import annotations

from sqlite_utils import Database, Migrations

access = Migrations("access")


@access()
def m001_devices_and_people(db: Database) -> None:
    """Instants are milliseconds since 1970 UTC; `token` and `digest` are SHA-256 of what only the other side holds."""
    for statement in (
        """
        CREATE TABLE device (
            id TEXT PRIMARY KEY,
            name TEXT NOT NULL,
            role TEXT NOT NULL,
            token TEXT NOT NULL UNIQUE,
            paired_at INTEGER NOT NULL,
            revoked_at INTEGER,
            heard_at INTEGER,
            clock_off_ms INTEGER,
            unsent_entries INTEGER,
            unsent_photos INTEGER
        ) STRICT
        """,
        "CREATE TABLE code (digest TEXT PRIMARY KEY, role TEXT NOT NULL, until INTEGER NOT NULL) STRICT",
        """
        CREATE TABLE person (
            id TEXT PRIMARY KEY,
            name TEXT NOT NULL UNIQUE COLLATE NOCASE,
            role TEXT NOT NULL,
            password TEXT NOT NULL
        ) STRICT
        """,
        """
        CREATE TABLE sign_in (
            token TEXT PRIMARY KEY,
            person TEXT NOT NULL REFERENCES person ON DELETE CASCADE,
            began_at INTEGER NOT NULL,
            used_at INTEGER NOT NULL
        ) STRICT
        """,
    ):
        db.conn.execute(statement)
