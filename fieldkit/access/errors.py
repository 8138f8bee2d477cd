"""What can go wrong with letting somebody in."""

from __future__ import annotations

from fieldkit.errors import FieldkitError


class AccessError(FieldkitError):
    """Somebody is not let in, or the list of who may come in cannot be changed so; says why."""
