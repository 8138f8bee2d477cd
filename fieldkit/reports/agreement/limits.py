"""How far two recorders' measurements of one coral lie apart: bias and limits of agreement.

Source: Bland & Altman 1986, Lancet 327:307-310. Half of all differences say nothing of the other half: the bias is what one
recorder reads above the other on the whole, the limits hold about 95 of 100 differences where these are spread normally.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import fmean, median, stdev

import scipy


@dataclass(frozen=True)
class Differences:
    """Differences between two recorders, the first one's value less the second one's, in the unit of the field.

    Attributes:
        bias: their mean; `bias_lower`, `bias_upper`: its limits.
        lower, upper: the limits of agreement, bias - 1.96 sd and bias + 1.96 sd; None where there are too few to tell.
        lower_reach, upper_reach: how far from each limit its own limits of confidence lie.
    """

    n: int
    bias: float
    middle: float
    """Their median: a slip of the pencil does not move it."""
    sd: float | None
    lower: float | None
    upper: float | None
    bias_lower: float | None
    bias_upper: float | None
    reach: float | None
    """Half the width of the limits of confidence of each limit of agreement: t * sd * sqrt(3 / n)."""


def differences(found: Sequence[float], *, level: float = 0.95) -> Differences | None:
    """What these differences say together; None where there are none.

    Args:
        found: one a pair of observations.
        level: of the limits of confidence. The limits of agreement hold that share of differences, too.
    """
    n = len(found)
    if n < 2:
        return Differences(n, found[0], found[0], *(None,) * 6) if n else None
    bias, sd = fmean(found), stdev(found)
    z, t = float(scipy.special.ndtri((1 + level) / 2)), float(scipy.special.stdtrit(n - 1, (1 + level) / 2))
    around = t * sd / sqrt(n)
    return Differences(
        n, bias, median(found), sd, bias - z * sd, bias + z * sd, bias - around, bias + around, t * sd * sqrt(3 / n)
    )
