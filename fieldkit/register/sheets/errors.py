"""What can go wrong with a spreadsheet as a whole, or with the mapping file that explains it."""

from __future__ import annotations

from fieldkit.errors import FieldkitError


class SheetError(FieldkitError, ValueError):
    """A file that cannot be read as a sheet, a mapping file with faults, or headings that do not say what the columns hold."""
