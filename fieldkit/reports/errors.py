"""What can go wrong with a question put to the data."""

from __future__ import annotations

from fieldkit.errors import FieldkitError


class QuestionError(FieldkitError, ValueError):
    """A figure was asked for in a way that has no answer; says which word, and which would do."""
