"""Tables as CSV (RFC 4180, UTF-8), in one ZIP with their dictionary and the mappings by which they can be taken in again."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterable
from datetime import date
from decimal import Decimal
from typing import IO, BinaryIO

from fieldkit.exports.archive import archive, member
from fieldkit.exports.table import Cell, Table
from fieldkit.reports.tables import safe

TAKEN_BACK = {
    "corals": """\
# Takes corals.csv in: first this table, then visits.csv.
layout = "one_row_per_coral"

[columns]
site = "site"
plot = "plot"
position = "position"
tag = "tag"
genotype = "genotype"
species = "species"
planted_on = "planted_on"
known_from = "known_from"
withdrawn_on = "withdrawn_on"
""",
    "visits": """\
# Takes the states of visits.csv in, after corals.csv. Further columns of yours go under [columns] too.
layout = "long"

[columns]
site = "site"
plot = "plot"
position = "position"
tag = "tag"
seen_on = "seen_on"
status = "state"

[status]
alive = ["alive"]
dead = ["dead"]
missing = ["missing"]
not_read = [""]
""",
    "counts": """\
# Takes counts.csv in.
layout = "counts"

[columns]
site = "site"
plot = "plot"
genotype = "genotype"
species = "species"
planted_on = "planted_on"
planted = "planted"
seen_on = "seen_on"
alive = "alive"
dead = "dead"
missing = "missing"
""",
}
"""By table, the mapping file (docs/import.md) with which an empty base takes it in."""


def write(file: BinaryIO, tables: Iterable[Table]) -> None:
    """A file each table, and beside those that can be taken in again the mapping that does."""
    with archive(file) as packed:
        for table in tables:
            with member(packed, f"{table.name}.csv") as one:
                write_one(one, table)
            if table.name in TAKEN_BACK:
                packed.writestr(zipfile.ZipInfo(f"{table.name}.toml"), TAKEN_BACK[table.name])


def write_one(file: IO[bytes], table: Table) -> None:
    """One table. No cell of it is a formula to any spreadsheet program."""
    text = io.TextIOWrapper(file, encoding="utf-8", newline="", write_through=True)
    rows = csv.writer(text)
    rows.writerow(safe(column.name for column in table.columns))
    rows.writerows(safe(map(as_text, row)) for row in table.rows())
    text.flush()
    text.detach()


def as_text(cell: Cell) -> str:
    """A cell as CSV has it: days as ISO 8601, yes and no, numbers with the decimals that were typed; empty: nothing known."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, Decimal):
        return f"{cell:f}"
    return cell.isoformat() if isinstance(cell, date) else str(cell)
