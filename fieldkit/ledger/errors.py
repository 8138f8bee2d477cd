"""What can go wrong with entries, the ledger that holds them and the files that carry them."""

from __future__ import annotations

from fieldkit.errors import FieldkitError


class EntryError(FieldkitError, ValueError):
    """Bytes that are no entry: not in canonical form, too large, or an envelope that is not as documented."""


class StoreError(FieldkitError):
    """The ledger's database could not be opened, read or written; what was being written is not there."""


class CarryError(FieldkitError):
    """A carry file that cannot be read at all, or belongs to another programme."""
