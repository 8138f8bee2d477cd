"""Words put into lines of a given width. Pure: how wide a text is, is asked of whoever knows the type."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from fieldkit.slates.marks import Width

LEADING = 1.22
"""Of the size of the type, from one line to the next. Chosen by us."""


@dataclass(frozen=True, slots=True)
class Piece:
    """Words that stay on one line where they fit on one."""

    text: str
    bold: bool = False


Placed = list[tuple[float, Piece]]
"""One line: its pieces, each with its distance from the line's beginning."""


def flowed(pieces: Iterable[Piece], room: float, size: float, width: Width, *, gap: float = 0.35) -> list[Placed]:
    """Lay pieces one after the other into lines.

    Args:
        room: how long a line may be, in mm.
        gap: between two pieces, in ems of the type.
    """
    space = gap * size * 25.4 / 72
    lines: list[Placed] = []
    end = room
    for piece in pieces:
        for part in _fitting(piece, room, size, width):
            long = width(part.text, size, part.bold)
            if not lines or end + space + long > room:
                lines.append([(0.0, part)])
                end = long
            else:
                lines[-1].append((end + space, part))
                end += space + long
    return lines


def wrapped(text: str, room: float, size: float, width: Width, *, bold: bool = False) -> list[str]:
    """A text in lines no longer than `room`, broken between words, within a word only where it is longer than a line."""
    lines: list[str] = []
    for word in text.split():
        for part in _split(word, room, size, bold, width):
            longer = f"{lines[-1]} {part}" if lines else part
            if lines and width(longer, size, bold) <= room:
                lines[-1] = longer
            else:
                lines.append(part)
    return lines


def cut(text: str, room: float, size: float, width: Width, *, bold: bool = False) -> str:
    """As much of a text as fits, with a mark that it went on."""
    if width(text, size, bold) <= room:
        return text
    kept = text
    while kept and width(f"{kept}…", size, bold) > room:
        kept = kept[:-1]
    return f"{kept.rstrip()}…"


def _fitting(piece: Piece, room: float, size: float, width: Width) -> Iterator[Piece]:
    if width(piece.text, size, piece.bold) <= room:
        yield piece
        return
    for line in wrapped(piece.text, room, size, width, bold=piece.bold):
        yield Piece(line, piece.bold)


def _split(word: str, room: float, size: float, bold: bool, width: Width) -> Iterator[str]:
    while len(word) > 1 and width(word, size, bold) > room:
        fits = next((n for n in range(len(word) - 1, 1, -1) if width(word[:n], size, bold) <= room), 1)
        yield word[:fits]
        word = word[fits:]
    yield word
