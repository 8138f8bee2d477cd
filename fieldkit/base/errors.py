"""What can go wrong with a base: its folder, and what a person says at it."""

from __future__ import annotations

from fieldkit.errors import FieldkitError


class BaseError(FieldkitError):
    """The folder is no base, is one already, or belongs to another programme."""


class SayError(FieldkitError, ValueError):
    """What a person wants to enter does not hold; nothing was written."""
