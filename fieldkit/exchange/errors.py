"""What can go wrong when copies meet."""

from __future__ import annotations

from fieldkit.errors import FieldkitError


class ExchangeError(FieldkitError):
    """What was asked is not as docs/exchange.md has it, or another base cannot be reached or trusted; nothing was done."""
