"""QR codes, by which a phone finds the base without anybody typing."""

from __future__ import annotations

import io

import segno
from markupsafe import Markup


def as_svg(text: str, *, called: str) -> Markup:
    """A drawing to stand in a page, black on white in every scheme: cameras read no other way as surely.

    Args:
        called: what it is, for whoever cannot see it.
    """
    drawn = segno.make_qr(text, error="m").svg_inline(omitsize=True, dark="#000", light="#fff", title=called, svgclass="qr")
    return Markup(drawn)


def as_text(text: str) -> str:
    """The same for a terminal, in half blocks."""
    drawn = io.StringIO()
    segno.make_qr(text, error="m").terminal(drawn, compact=True)
    return drawn.getvalue()
