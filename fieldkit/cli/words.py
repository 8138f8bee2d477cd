"""What the commands say: in the language of whoever types them, with figures as that language writes them.

Names, values and days stand as they are in the data, and as they are typed back into a command: `size_cm`, `2026-11-10`.
"""

from __future__ import annotations

import locale
import os
from typing import Any

from babel import Locale
from babel.numbers import format_decimal, format_percent

from fieldkit import messages

# Windows sets none of the four.
LANGUAGE = messages.choose(
    [*(os.environ.get(name, "") for name in ("FIELDKIT_LANG", "LC_ALL", "LC_MESSAGES", "LANG")), locale.getlocale()[0] or ""]
)
DASH = "–"

_PERCENT = Locale.parse(LANGUAGE).percent_formats[None].pattern  # where the sign stands, and whether after a blank


def say(key: str, /, **data: Any) -> str:
    """A sentence of the catalogue, its whole numbers grouped as the language does."""
    written = {name: _Number(value) if type(value) is int else value for name, value in data.items()}
    return messages.text(key, LANGUAGE, **written)


def number(value: int) -> str:
    """1,234 or 1.234."""
    return str(format_decimal(value, locale=LANGUAGE))


def decimal(value: float, digits: int = 2) -> str:
    """0.42 or 0,42."""
    return str(format_decimal(value, f"0.{'0' * digits}", locale=LANGUAGE))


def percent(share: float, digits: str = "0.0") -> str:
    """A share of 1 in per cent: 83.9% or 83,9 %. `digits` as number patterns have them: "0.#" writes 95%, but 97.5%."""
    return str(format_percent(share, format=_PERCENT.replace("#,##0", f"#,##{digits}"), locale=LANGUAGE))


def span(low: float, high: float) -> str:
    """From one share to another, in per cent whose sign stands beside already: 78.3–88.2."""
    return DASH.join(str(format_decimal(100 * share, "0.0", locale=LANGUAGE)) for share in (low, high))


class _Number(int):
    """A number that chooses the plural as itself and stands in the sentence as the language writes it."""

    def __format__(self, spec: str) -> str:
        return format(number(int(self)), spec)
