"""What can go wrong with planning and with writing down what was done."""

from __future__ import annotations

from fieldkit.errors import FieldkitError


class DueError(FieldkitError):
    """What was to be written down cannot be, or there is nothing to draw from; nothing was written."""
