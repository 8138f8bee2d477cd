"""Words in lines. The type is one whose every sign is 1 mm wide."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as some

from fieldkit.slates.flow import Piece, cut, flowed, wrapped

TEXTS = some.text(alphabet="ab c", max_size=60)
ROOM = some.integers(2, 30)


def width(text: str, size: float, bold: bool) -> float:
    return float(len(text))


@given(TEXTS, ROOM)
def test_wrapping_loses_no_sign_and_makes_no_line_too_long(text: str, room: int) -> None:
    lines = wrapped(text, room, 9, width)
    assert "".join("".join(lines).split()) == "".join(text.split())
    assert all(len(line) <= room for line in lines)


@given(some.lists(TEXTS.filter(str.strip)), ROOM)
def test_flowing_keeps_pieces_whole_where_they_fit_on_a_line(texts: list[str], room: int) -> None:
    lines = flowed(map(Piece, texts), room, 9, width)
    told = [piece.text for line in lines for _, piece in line]
    assert [text for text in texts if len(text) <= room and text not in told] == []
    assert all(x + len(piece.text) <= room for line in lines for x, piece in line)


@given(TEXTS, some.integers(2, 30))
def test_a_text_that_was_cut_shows_it(text: str, room: int) -> None:
    kept = cut(text, room, 9, width)
    assert kept == text or (kept.endswith("…") and len(kept) <= room)
