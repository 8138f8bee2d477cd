"""Days as people write them in sheets. What can be read in one way only is taken; the rest is asked or refused. Pure."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from datetime import date
from typing import Literal

Precision = Literal["day", "month", "year"]

_SEPARATOR = r"\s*[-/. ]\s*"
_YEAR_FIRST = re.compile(
    rf"(\d{{4}}){_SEPARATOR}(\d{{1,2}})(?:{_SEPARATOR}(\d{{1,2}}))?(?:[T ]\d{{1,2}}:\d\d(?::\d\d(?:\.\d+)?)?Z?)?", re.ASCII
)
_YEAR = re.compile(r"(?:19|20)\d\d", re.ASCII)
_YEAR_LAST = re.compile(
    rf"(\d{{1,2}}){_SEPARATOR}(\d{{1,2}}){_SEPARATOR}(\d{{4}}|\d\d)(?: \d{{1,2}}:\d\d(?::\d\d)?)?", re.ASCII
)
_MONTH_YEAR = re.compile(rf"(\d{{1,2}}){_SEPARATOR}(\d{{4}})", re.ASCII)
_NAMED = re.compile(r"[^\W\d_]+|\d+", re.ASCII)
_SERIAL = re.compile(r"[2-6]\d{4}", re.ASCII)  # day numbers of a spreadsheet program, 1954 to 2091

# English and Spanish; three letters tell them all apart.
_MONTHS = (
    *("january enero", "february febrero", "march marzo", "april abril", "may mayo", "june junio", "july julio"),
    *("august agosto", "september septiembre setiembre", "october octubre", "november noviembre", "december diciembre"),
)
_SHORT = "|".join(name[:3] for names in _MONTHS for name in names.split())
_EATEN = re.compile(rf"\d{{1,2}}-(?:{_SHORT})|(?:{_SHORT})-\d\d", re.IGNORECASE | re.ASCII)


@dataclass(frozen=True, slots=True)
class Day:
    """A civil day and how much of it is known: of a month or a year, the first day stands for it."""

    day: date
    precision: Precision = "day"


@dataclass(frozen=True, slots=True)
class NoDay:
    """Why a text is no day: the name of a sentence of the catalogue."""

    why: Literal["no_day", "day_not_in_calendar", "day_order_unknown", "day_number"]


def read_day(text: str, order: str | None) -> Day | NoDay:
    """The day that a text names.

    Args:
        text: as typed, not blank.
        order: "ymd", "dmy" or "mdy", for days written in figures with the year last or of two digits; None: not known, so that
            03/04/2025 is asked ("day_order_unknown") while 13/04/2025 and 04/04/2025 are taken.

    A month ("2019-08", "Aug 2019") or a year ("2019") is its first day, and says so. A time of day is passed over.
    """
    text = " ".join(text.split())
    if _YEAR.fullmatch(text):
        return Day(date(int(text), 1, 1), "year")
    if found := _YEAR_FIRST.fullmatch(text):
        year, month, day = found.groups()
        return _day(int(year), int(month), None if day is None else int(day))
    if found := _MONTH_YEAR.fullmatch(text):
        return _day(int(found[2]), int(found[1]), None)
    if found := _YEAR_LAST.fullmatch(text):
        return _in_order(found.groups(), order)
    if any(letter.isalpha() for letter in text):
        return _named(text)
    return NoDay("day_number" if _SERIAL.fullmatch(text) else "no_day")


def order_told(text: str) -> str | None:
    """Which of "dmy" and "mdy" a day in figures proves, if it can be read in one way only."""
    found = _YEAR_LAST.fullmatch(" ".join(text.split()))
    if found is None or len(found[3]) != 4:
        return None
    first, second = int(found[1]), int(found[2])
    return "dmy" if first > 12 >= second else "mdy" if second > 12 >= first else None


def _in_order(figures: tuple[str, ...], order: str | None) -> Day | NoDay:
    first, second, last = figures
    if len(last) == 2:
        # Any of the three may be the year: only an order that somebody states makes a day of it. 20.., since nobody
        # planted and followed corals by the table before.
        if order is None:
            return NoDay("day_order_unknown")
        figures_of = {"ymd": (first, second, last), "dmy": (last, second, first), "mdy": (last, first, second)}
        year, month, day = map(int, figures_of[order])
        return _day(2000 + year, month, day)
    orders = {"dmy": (second, first), "mdy": (first, second)}
    stated = [orders[order]] if order in orders else list(orders.values())
    found = [_day(int(last), int(month), int(day)) for month, day in stated]
    days = {one for one in found if isinstance(one, Day)}
    if len(days) == 1:
        return days.pop()
    return NoDay("day_order_unknown" if days else "day_not_in_calendar")


def _named(text: str) -> Day | NoDay:
    """ "1 Aug 2019", "August 1, 2019", "Aug-2019", "1 de agosto de 2019": the year must have four digits."""
    parts = [part for part in _NAMED.findall(_plain(text)) if part not in ("de", "del", "of", "st", "nd", "rd", "th")]
    months = [number for part in parts if (number := _month(part)) is not None]
    figures = [part for part in parts if part.isdigit()]
    years = [part for part in figures if len(part) == 4]
    days = [part for part in figures if len(part) <= 2]
    if len(months) != 1 or len(years) != 1 or len(days) > 1 or len(parts) != 2 + len(days):
        return NoDay("no_day")
    return _day(int(years[0]), months[0], int(days[0]) if days else None)


def _month(part: str) -> int | None:
    """The number of a month by its name, cut to three letters or more."""
    if len(part) < 3:
        return None
    return next((n for n, names in enumerate(_MONTHS, 1) if any(name.startswith(part) for name in names.split())), None)


def _plain(text: str) -> str:
    return unicodedata.normalize("NFKD", text).encode("ascii", "ignore").decode("ascii").casefold()


def _day(year: int, month: int, day: int | None) -> Day | NoDay:
    try:
        return Day(date(year, month, 1), "month") if day is None else Day(date(year, month, day))
    except ValueError:
        return NoDay("day_not_in_calendar")


def looks_eaten(text: str) -> bool:
    """Whether a name looks like "1-1" after a spreadsheet program took it for a day ("1-Jan", "Jan-45")."""
    return _EATEN.fullmatch(text.strip()) is not None
