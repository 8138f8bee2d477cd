"""Printing in whatever encoding a terminal has: a letter that it cannot show is written plainer, and nothing stops."""

from __future__ import annotations

import codecs
import sys
import unicodedata
from io import TextIOWrapper

_PLAINER = str.maketrans(
    {"“": '"', "”": '"', "«": '"', "»": '"', "‘": "'", "’": "'", "–": "-", "—": "-", "−": "-", "·": "-", "×": "x", "…": "..."}
)


def write_in_any_encoding() -> None:
    """Let the standard streams write `é` as `e` and a dash as `-` where their encoding knows neither."""
    codecs.register_error("plainer", _plainer)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):  # whatever else stands there sees to its letters itself
            stream.reconfigure(errors="plainer")


def plain(text: str) -> str:
    """The text in ASCII, as near as its letters come to it; a question mark for those that do not."""
    apart = unicodedata.normalize("NFKD", text.translate(_PLAINER))
    return "".join(letter for letter in apart if not unicodedata.combining(letter)).encode("ascii", "replace").decode()


def _plainer(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return plain(error.object[error.start : error.end]), error.end
