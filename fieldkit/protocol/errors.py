"""What can go wrong with a protocol file."""

from __future__ import annotations

from fieldkit.errors import FieldkitError


class ProtocolError(FieldkitError, ValueError):
    """A protocol file was refused: carries every fault found, each with file, line, place in the file and remedy."""


class DurationError(FieldkitError, ValueError):
    """A text that is no duration of whole years, months, weeks and days."""
