"""Which known name was probably meant."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches


def nearest(name: str, known: Iterable[str]) -> str:
    """The known names to offer for one that is not known: the one it resembles, else all of them, as a list to print."""
    known = sorted(known)
    return ", ".join(get_close_matches(name[:60].lower(), known, n=1) or known) or "-"
