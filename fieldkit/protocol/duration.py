"""Durations as a protocol and a command line write them: ISO 8601, whole years, months, weeks and days."""

from __future__ import annotations

import re

from fieldkit.protocol.errors import DurationError

_DURATION = re.compile(r"P(?=[0-9])(?:([0-9]{1,4})Y)?(?:([0-9]{1,4})M)?(?:([0-9]{1,4})W)?(?:([0-9]{1,5})D)?")


def days_of(duration: str) -> int:
    """The whole days of an ISO 8601 duration: `P12M` is 365, `P3M` 91, `P1Y2W` 379.

    A month is 365.25 / 12 days; years and months together are rounded down to whole days once.

    Raises:
        DurationError: not of the form `P1Y2M3W4D` (any of the four may be left out, not all); hours are no part of it.
    """
    found = _DURATION.fullmatch(duration)
    if found is None:
        raise DurationError.of("protocol.duration", value=duration[:40])
    years, months, weeks, days = (int(digits or 0) for digits in found.groups())
    # Whole numbers all through: 365.25 / 12 is 36525 / 1200, and no rounding of a fraction can tip the floor.
    return (12 * years + months) * 36525 // 1200 + 7 * weeks + days
