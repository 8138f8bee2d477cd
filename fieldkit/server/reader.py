"""The person reading a page: in which language, and how that language writes days, figures and ages. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Self

from babel.dates import format_date, format_datetime
from babel.lists import format_list
from babel.numbers import format_decimal, format_percent

from fieldkit import messages

DASH = "–"
_JOINED_DASH = "\N{WORD JOINER}–\N{WORD JOINER}"  # no line ends within a span
DAYS_PER_MONTH = 365.25 / 12

# What an ISO 8601 day can be cut to where only its month or year is known, and how that is written.
_DAY_PATTERNS = {"day": "d MMM y", "month": "MMM y", "year": "y"}


def months_to_days(months: int) -> int:
    """An age in months as whole days, rounded down, as every age given as a duration is."""
    return int(months * DAYS_PER_MONTH)


def days_to_months(days: int) -> int | None:
    """The whole number of months that an age in days stands for; None where it stands for none."""
    months = round(days / DAYS_PER_MONTH)
    return months if months_to_days(months) == days else None


@dataclass(frozen=True)
class Reader:
    """Writes for somebody who reads this language."""

    language: str

    def text(self, key: str, /, **data: Any) -> str:
        """A sentence of the catalogue, its whole numbers written as the language groups them."""
        written = {name: _Written(value, self.number(value)) if type(value) is int else value for name, value in data.items()}
        return messages.text(key, self.language, **written)

    def day(self, day: date | str | None, precision: str = "day") -> str:
        """12 Nov 2026. What cannot be read as a day is shown as it is, and an absent one as a dash."""
        if day is None:
            return DASH
        try:
            known = day if isinstance(day, date) else date.fromisoformat(day)
        except ValueError:
            return str(day)
        return format_date(known, _DAY_PATTERNS[precision], locale=self.language)

    def instant(self, ms: int) -> str:
        """12 Nov 2026, 17:40, by the clock of this computer. `ms`: milliseconds since 1970 UTC."""
        return str(format_datetime(datetime.fromtimestamp(ms / 1000).astimezone(), "d MMM y, HH:mm", locale=self.language))

    def clock_off(self, ms: int) -> str:
        """How far another clock is ahead of ours, in whole minutes."""
        minutes = round(abs(ms) / 60_000)
        if minutes == 0:
            return self.text("reach.clock_right")
        return self.text("reach.clock_ahead", n=minutes) if ms > 0 else self.text("reach.clock_behind", n=minutes)

    def number(self, value: float | Decimal | None, digits: int = 0) -> str:
        """1,234 or 1.234; an absent one is a dash."""
        if value is None:
            return DASH
        return str(format_decimal(value, f"#,##0.{'0' * digits}" if digits else "#,##0", locale=self.language))

    def decimal(self, value: Decimal) -> str:
        """A number with as many decimals as it was noted with."""
        digits = max(0, -int(value.as_tuple().exponent))
        return self.number(value, digits)

    def percent(self, share: float | None, digits: int = 1) -> str:
        """A share of 1 as per cent, with the decimal sign of the language; an undefined one is a dash."""
        if share is None:
            return DASH
        blank = "\N{NO-BREAK SPACE}" if self.language != "en" else ""
        return str(format_percent(share, f"#,##0.{'0' * digits}{blank}%" if digits else f"#,##0{blank}%", locale=self.language))

    def span(self, lower: float | None, upper: float | None) -> str:
        """From one share to another, in per cent; a dash where either is undefined."""
        if lower is None or upper is None:
            return DASH
        return f"{self.percent(lower).removesuffix('%').rstrip()}{_JOINED_DASH}{self.percent(upper)}"

    def age(self, days: int) -> str:
        """An age in months where it is a whole number of them, else in days."""
        months = days_to_months(days)
        return self.text("pages.days_old", n=days) if months is None else self.text("pages.months_old", n=months)

    def short_age(self, days: int) -> str:
        """The same for an axis that is in months: the number alone, or days with their unit."""
        months = days_to_months(days)
        return self.text("pages.short_days", n=days) if months is None else self.number(months)

    def list(self, parts: list[str]) -> str:
        """One, two and three."""
        return format_list(parts, locale=self.language)


class _Written(int):
    """A number that chooses the plural as itself, and stands in the sentence as the language writes it."""

    def __new__(cls, value: int, text: str) -> Self:
        made = super().__new__(cls, value)
        made.text = text
        return made

    text: str

    def __format__(self, spec: str) -> str:
        return format(self.text, spec)
