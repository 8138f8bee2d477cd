"""When two spellings are one name: how tags, sites, plots and accessions are compared. The bytes stay as typed."""

from __future__ import annotations

import unicodedata
from functools import lru_cache


# A programme has some thousand names and compares them hundreds of thousands of times.
@lru_cache(maxsize=65_536)
def folded(text: str) -> str:
    """The form in which names are compared: width and case folded, blanks left out ("b 104" and "B104" are one tag)."""
    return "".join(unicodedata.normalize("NFKC", text).casefold().split())
