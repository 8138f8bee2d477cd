"""What can go wrong with printing slates."""

from __future__ import annotations

from fieldkit.errors import FieldkitError


class SlatesError(FieldkitError):
    """There is nothing to print, or a plot was asked for that the site has not; nothing was drawn."""
