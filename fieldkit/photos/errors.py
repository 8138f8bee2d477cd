"""What can go wrong with photos."""

from __future__ import annotations

from fieldkit.errors import FieldkitError


class PhotoError(FieldkitError):
    """Bytes that are no photo or not the promised one, or a store that could not take or give them; nothing was kept."""
