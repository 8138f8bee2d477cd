"""Whether a session's photos can be of its dive, by the camera's own clock, and what a ruling makes of it. Pure.

A camera tells a time without a zone, and nobody sets its clock on the boat. A photo that shows a row of the slate was taken
under water on the session's day, by daylight; one that the camera dates otherwise says that its clock, the photo or the day
is wrong. (That surveys are dived by daylight is common practice, no source; a crew that dives by night says so once a session.)
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, time, timedelta
from typing import Any

from fieldkit.errors import Fault

FROM, UNTIL = time(5), time(20)
"""Daylight with room to spare, in the tropics by any zone's clock. Chosen by us."""


def time_of(text: Any) -> datetime | None:
    """What a camera's clock told, `2026-11-10T08:31:07`; None where it is no such time."""
    try:
        found = datetime.fromisoformat(text) if isinstance(text, str) and len(text) == 19 else None
    except ValueError:
        return None
    return found if found is not None and found.tzinfo is None else None


def is_outside(taken: datetime, day: date) -> bool:
    """Whether a dive of that day was not under way then."""
    return taken.date() != day or not FROM <= taken.time() < UNTIL


def shifted(taken: datetime, offset_s: int) -> datetime | None:
    """The time by a clock put right; None where no calendar has it."""
    try:
        return taken + timedelta(seconds=offset_s)
    except OverflowError:
        return None


def offset_of(text: Any) -> int | None:
    """Seconds to be added to what a camera told, of a ruling's `offset_s`; None where it gives none."""
    digits = text.removeprefix("-") if isinstance(text, str) else ""
    return int(text) if digits.isascii() and digits.isdecimal() and len(digits) < 11 else None


def doubt_about_photos(day: date | None, camera_times: Iterable[Any]) -> Fault | None:
    """What is odd about the times at which the photos of a session's rows were taken."""
    taken = sorted(found for text in camera_times if (found := time_of(text)))
    if day is None or not any(is_outside(one, day) for one in taken):
        return None
    n, (first, last) = sum(is_outside(one, day) for one in taken), (f"{taken[i]:%Y-%m-%d %H:%M}" for i in (0, -1))
    return Fault("settle.photos_outside", {"n": n, "photos": len(taken), "day": str(day), "first": first, "last": last})
