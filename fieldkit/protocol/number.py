"""Numbers as people type them: strings in entries and in protocol files alike, compared as decimals."""

from __future__ import annotations

import re
from decimal import Decimal

# A comma is a decimal mark too: crews write "12,5". Blanks between thousands and exponents are not guessed at.
_NUMBER = re.compile(r"\s*([+-]?)(?=[.,]?[0-9])0*([0-9]{0,15})(?:[.,]([0-9]{1,15}))?\s*", re.ASCII)


def written(text: object) -> str | None:
    """A number in its one form, "12.5": blanks, plus and leading zeros gone, decimal point; the decimals as typed.

    None where the value is no text, or the text no number.
    """
    found = _NUMBER.fullmatch(text) if isinstance(text, str) else None
    if found is None:
        return None
    sign, whole, decimals = found.groups()
    whole = whole or "0"
    plain = whole if decimals is None else f"{whole}.{decimals}"
    return f"-{plain}" if sign == "-" and Decimal(plain) != 0 else plain


def number(text: object) -> Decimal | None:
    """The number that a text is, exactly; None where it is none."""
    plain = written(text)
    return None if plain is None else Decimal(plain)


def whole(text: object) -> int | None:
    """The whole number that a text is; None where it is none."""
    found = number(text)
    return int(found) if found is not None and found == found.to_integral_value() else None
