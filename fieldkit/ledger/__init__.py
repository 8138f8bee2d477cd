"""The ledger: every entry ever made, none changed, none removed.

Merging two ledgers is the union of two sets; the state is a pure function of the set. `docs/entries.md` says what entries
hold, `docs/carry-file.md` how they travel.
"""

from fieldkit.ledger.canonical import canonical, parse, sha256
from fieldkit.ledger.entry import FAMILIES, LEAD_FAMILIES, Entry, derived_id, is_digest, is_id, mint, new_id, read, read_line
from fieldkit.ledger.errors import CarryError, EntryError, StoreError

__all__ = [
    "FAMILIES",
    "LEAD_FAMILIES",
    "CarryError",
    "Entry",
    "EntryError",
    "StoreError",
    "canonical",
    "derived_id",
    "is_digest",
    "is_id",
    "mint",
    "new_id",
    "parse",
    "read",
    "read_line",
    "sha256",
]
