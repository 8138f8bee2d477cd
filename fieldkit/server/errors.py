"""What can go wrong with serving pages."""

from __future__ import annotations

from fieldkit.errors import FieldkitError


class ServerError(FieldkitError):
    """The server cannot start as it was told to; says what is in the way."""


class RequestError(FieldkitError, ValueError):
    """A page was asked for with a word or a value that it does not know; names it, and says what would do."""


class StrangerError(FieldkitError):
    """A request did not come from a page of ours; nothing was done."""


class NotYoursError(FieldkitError):
    """Whoever signed in may not see or do this."""
