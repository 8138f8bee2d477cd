"""The tables of the state. All of them follow from the ledger: they are never migrated, only thrown away and computed anew.

A base remembers under which `FOLD` its state was computed. Opened by a fieldkit with another, it gets new tables, filled
from its ledger; so entries of a kind that an older version only kept come alive, and whoever goes back to an older version
loses nothing.
"""

from __future__ import annotations

import sqlite3

FOLD = "7"
"""To be raised with every change of what the state holds or what it means, in whichever room it happens."""

TABLES = (
    "session",
    "photo",
    "thing",
    "coral",
    "worn",
    "history",
    "seen",
    "counted",
    "counted_visit",
    "fate",
    "matter",
    "slate",
    "redacted",
)

# Every row has a `unit`, unless it is one itself: the plot, session, visit of a site or registered thing with which it is
# computed.
_STATEMENTS = (
    """
    CREATE TABLE session (
        id TEXT PRIMARY KEY, site TEXT, day TEXT, visit TEXT, set_aside INTEGER NOT NULL, protocol TEXT, import TEXT,
        visits INTEGER NOT NULL, named TEXT, said TEXT NOT NULL
    ) STRICT, WITHOUT ROWID
    """,
    "CREATE INDEX session_site ON session (site, visit)",
    "CREATE INDEX session_protocol ON session (protocol)",
    "CREATE INDEX session_import ON session (import)",
    """
    CREATE TABLE photo (
        digest TEXT PRIMARY KEY, unit TEXT NOT NULL, photo TEXT NOT NULL, line TEXT NOT NULL, said TEXT NOT NULL
    ) STRICT, WITHOUT ROWID
    """,
    "CREATE INDEX photo_unit ON photo (unit)",
    "CREATE INDEX photo_photo ON photo (photo)",
    "CREATE INDEX photo_line ON photo (line)",
    """
    CREATE TABLE thing (
        kind TEXT NOT NULL, id TEXT NOT NULL, scope TEXT, name TEXT, said TEXT NOT NULL, disputed TEXT NOT NULL,
        PRIMARY KEY (kind, id)
    ) STRICT, WITHOUT ROWID
    """,
    "CREATE INDEX thing_name ON thing (kind, scope, name)",
    """
    CREATE TABLE coral (
        id TEXT PRIMARY KEY, unit TEXT NOT NULL, plot TEXT, genotype TEXT, species TEXT, method TEXT,
        position TEXT, tag TEXT,
        planted_on TEXT, precision TEXT, known_from TEXT, withdrawn_on TEXT,
        fate TEXT NOT NULL, left_out TEXT, entry INTEGER NOT NULL, disputed INTEGER NOT NULL, seen_on TEXT, cause TEXT,
        "left" INTEGER, lost INTEGER, open INTEGER,
        worst_left INTEGER, worst_lost INTEGER, worst_open INTEGER,
        best_left INTEGER, best_lost INTEGER, best_open INTEGER,
        said TEXT NOT NULL
    ) STRICT, WITHOUT ROWID
    """,
    "CREATE INDEX coral_unit ON coral (unit)",
    "CREATE INDEX coral_plot ON coral (plot)",
    # Tags by which a coral may be looked for, as names are compared, and as they look to who misreads them.
    """
    CREATE TABLE worn (
        coral TEXT NOT NULL, tag TEXT NOT NULL, unit TEXT NOT NULL, looks TEXT NOT NULL, PRIMARY KEY (coral, tag)
    ) STRICT, WITHOUT ROWID
    """,
    "CREATE INDEX worn_unit ON worn (unit)",
    "CREATE INDEX worn_tag ON worn (tag)",
    "CREATE INDEX worn_looks ON worn (looks)",
    # With its rowid: rows of some kilobytes would be scattered over overflow pages without.
    """
    CREATE TABLE history (unit TEXT PRIMARY KEY, names TEXT NOT NULL, told BLOB NOT NULL, answered BLOB NOT NULL) STRICT
    """,
    """
    CREATE TABLE seen (
        coral TEXT NOT NULL, visit TEXT NOT NULL, unit TEXT NOT NULL, state TEXT, day TEXT, said TEXT NOT NULL,
        PRIMARY KEY (coral, visit)
    ) STRICT, WITHOUT ROWID
    """,
    "CREATE INDEX seen_unit ON seen (unit)",
    """
    CREATE TABLE counted (
        unit TEXT NOT NULL, genotype TEXT NOT NULL, planted INTEGER NOT NULL, planted_on TEXT, method TEXT,
        said TEXT NOT NULL, PRIMARY KEY (unit, genotype)
    ) STRICT, WITHOUT ROWID
    """,
    """
    CREATE TABLE counted_visit (
        unit TEXT NOT NULL, genotype TEXT NOT NULL, place INTEGER NOT NULL, day TEXT NOT NULL, said TEXT NOT NULL,
        PRIMARY KEY (unit, genotype, place)
    ) STRICT, WITHOUT ROWID
    """,
    """
    CREATE TABLE fate (
        digest TEXT PRIMARY KEY, unit TEXT NOT NULL, fate TEXT NOT NULL, coral TEXT, session TEXT NOT NULL
    ) STRICT, WITHOUT ROWID
    """,
    "CREATE INDEX fate_unit ON fate (unit)",
    "CREATE INDEX fate_coral ON fate (coral)",
    "CREATE INDEX fate_session ON fate (session)",
    "CREATE INDEX fate_apart ON fate (fate) WHERE fate IN ('in a matter', 'practice')",  # few, and told with every figure
    """
    CREATE TABLE matter (
        id TEXT NOT NULL, unit TEXT NOT NULL, kind TEXT NOT NULL, ruling TEXT, said TEXT NOT NULL, PRIMARY KEY (id, unit)
    ) STRICT, WITHOUT ROWID
    """,
    "CREATE INDEX matter_unit ON matter (unit)",
    """
    CREATE TABLE slate (
        unit TEXT NOT NULL, one TEXT NOT NULL, other TEXT NOT NULL, retyped TEXT, ruling TEXT,
        PRIMARY KEY (one, other)
    ) STRICT, WITHOUT ROWID
    """,
    "CREATE INDEX slate_unit ON slate (unit)",
    "CREATE INDEX slate_other ON slate (other)",
    "CREATE TABLE redacted (digest TEXT PRIMARY KEY) STRICT, WITHOUT ROWID",
)


def make_anew(connection: sqlite3.Connection) -> None:
    """Give the base empty tables of this version. The caller holds the transaction, and fills them in it."""
    for table in TABLES:
        connection.execute(f"DROP TABLE IF EXISTS {table}")
    for statement in _STATEMENTS:
        connection.execute(statement)
    connection.execute("INSERT OR REPLACE INTO base VALUES ('fold', ?)", [FOLD])
