"""When two spellings are one name, or look like one: how tags, sites and plots are compared. The bytes stay as typed."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

# Glyphs taken for each other under water and on wet paper; whoever reads is also a witness. Common practice, no source.
CONFUSED = ("0odq", "1il7|", "2z", "5s", "6g", "8b3", "4a", "69")


# A programme has some thousand names and compares them hundreds of thousands of times.
@lru_cache(maxsize=65_536)
def folded(text: str) -> str:
    """The form in which names are compared: width and case folded, blanks left out ("b 104" and "B104" are one tag)."""
    return "".join(unicodedata.normalize("NFKC", text).casefold().split())


def looks(text: str) -> str:
    """The same for names whose glyphs may be taken for each other: "B104" and "81O4" look alike."""
    return folded(text).translate(_LIKE)


def in_order(name: str | None) -> tuple[bool, list[tuple[bool, int, str]]]:
    """The order in which a person counts: 2 before 10, B2 before B10; what has no name comes last."""
    parts = re.findall(r"\d+|\D+", name or "")
    return not parts, [(not part.isdecimal(), int(part) if part.isdecimal() else 0, part) for part in parts]


def _like() -> dict[int, str]:
    """Each glyph to the first of those that it may be taken for, through whatever stands between."""
    first: dict[str, str] = {}
    for glyphs in CONFUSED:
        stands = next((first[glyph] for glyph in glyphs if glyph in first), glyphs[0])
        first |= {glyph: stands for glyph in glyphs if glyph not in first}
    return str.maketrans(first)


_LIKE = _like()
