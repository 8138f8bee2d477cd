"""A survival curve from dated deaths, and the figures that are read off it.

Values are those of the last distinct age at or before the one asked for; before the first death everything lives. Past the
last observation the curve is carried on flat (Gill's convention), with nobody at risk: look at `at_risk` before believing it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal, TypeAlias

import numpy as np
import scipy  # not its parts: they load when first asked for, which takes as long as all the rest here
from numpy.typing import ArrayLike

from fieldkit.survival.columns import Floats
from fieldkit.survival.errors import SurvivalError

Interval: TypeAlias = Literal["log-log", "log", "plain", "none"]
INTERVALS: tuple[Interval, ...] = ("log-log", "log", "plain", "none")

SAME_SHARE = 1e-9  # two shares closer than this are one: 0.5 is often met as 0.4999999999999999


@dataclass(frozen=True)
class Estimate:
    """One figure with what surrounds it; `nan` where undefined.

    `lower` and `upper` are limits of confidence. `low` and `high` are the ends of what the data leave open even without
    chance: for a median where the curve is flat at one half, or falls inside an interval. They are equal where nothing is open.
    """

    value: float
    std_error: float
    lower: float
    upper: float
    low: float
    high: float


@dataclass(frozen=True)
class Figures:
    """Survival at stated ages, one entry per age in every array."""

    ages: Floats
    survival: Floats
    std_error: Floats
    lower: Floats
    upper: Floats
    at_risk: Floats


@dataclass(frozen=True, eq=False)
class Curve:
    """Kaplan-Meier: one row per distinct age at which a coral died or left, all arrays of one length.

    Attributes:
        time: ages in days, rising.
        at_risk: corals (or weight) under observation just before that age.
        deaths, censored: corals (or weight) that died and that were last seen alive at that age.
        survival: share alive just after that age.
        level, interval: what `lower` and `upper` cover, and by which transform.
    """

    time: Floats
    at_risk: Floats
    deaths: Floats
    censored: Floats
    survival: Floats
    level: float
    interval: Interval

    @cached_property
    def greenwood(self) -> Floats:
        """Variance of the logarithm of `survival`; `inf` once everything at risk has died."""
        with np.errstate(divide="ignore"):
            terms = self.deaths / (self.at_risk * (self.at_risk - self.deaths))
        return np.add.accumulate(terms)

    @cached_property
    def std_error(self) -> Floats:
        """Greenwood's standard error of `survival` itself; `nan` once nothing is left."""
        with np.errstate(invalid="ignore"):
            return self.survival * np.sqrt(self.greenwood)

    @property
    def lower(self) -> Floats:
        """Lower limits of `survival`; `nan` where the transform is undefined."""
        return self._limits[0]

    @property
    def upper(self) -> Floats:
        """Upper limits of `survival`; `nan` where the transform is undefined."""
        return self._limits[1]

    @cached_property
    def _limits(self) -> tuple[Floats, Floats]:
        z = float(scipy.special.ndtri(0.5 + self.level / 2))
        with np.errstate(divide="ignore", invalid="ignore"):
            return _LIMITS[self.interval](self.survival, np.sqrt(self.greenwood), z)

    def at(self, ages: ArrayLike) -> Floats:
        """Survival at ages in days, shape as given; 1 before the first row, `nan` for a curve without corals."""
        start = 1.0 if self.time.size else np.nan
        return np.concatenate(([start], self.survival))[self._row(ages) + 1]

    def figures(self, ages: ArrayLike) -> Figures:
        """Survival at ages with standard error, limits and corals at risk (those of the first row from that age on)."""
        wanted = np.atleast_1d(np.asarray(ages, dtype=np.float64))
        row = self._row(wanted) + 1
        start = 1.0 if self.time.size else np.nan
        spread = 0.0 if self.time.size else np.nan
        edge = start if self.interval in ("plain", "log") else np.nan
        return Figures(
            wanted,
            np.concatenate(([start], self.survival))[row],
            np.concatenate(([spread], self.std_error))[row],
            np.concatenate(([edge], self.lower))[row],
            np.concatenate(([edge], self.upper))[row],
            np.concatenate((self.at_risk, [0.0]))[np.searchsorted(self.time, wanted)],
        )

    def median(self) -> Estimate:
        """The age by which half have died: `quantile(0.5)`."""
        return self.quantile(0.5)

    def quantile(self, share: float) -> Estimate:
        """The age by which a share of the corals has died, 0 < share < 1.

        The first age at which survival is at most 1 - share. Where the curve is flat at exactly that value, any age of the
        flat stretch will do: `low` and `high` are its ends and `value` its midpoint (R's rule; other libraries take the
        first end). Never reached: `value` is nan, `low` the last age and `high` infinite. The limits are the same rule read
        off the limits of the curve (Brookmeyer & Crowley 1982); there is no standard error.
        """
        check_share(share)
        left = 1 - share
        low, high = _stretch(self.time, self.survival, left)
        if np.isnan(low) and self.time.size:
            low, high = float(self.time[-1]), np.inf
        middle = (low + high) / 2 if np.isfinite(high) else np.nan
        limits = [_stretch(self.time, limit, left) for limit in (self.lower, self.upper)]
        lower, upper = (sum(ends) / 2 for ends in limits)
        return Estimate(middle, np.nan, lower, upper, low, high)

    def restricted_mean(self, until: float) -> Estimate:
        """Mean days lived up to an age: the area under the curve from 0 to `until`, which is > 0.

        Past the last observation the last value is carried on. Standard error by Greenwood's sum over the area to the right
        of each death; limits are normal on the plain scale.

        Source:
            Klein & Moeschberger, Survival Analysis, section 4.5 (from memory).
        """
        check_until(until)
        if not self.time.size:
            return Estimate(*(np.nan,) * 6)
        inside = self.time < until
        edges = np.concatenate(([0.0], self.time[inside], [until]))
        area = np.diff(edges) * np.concatenate(([1.0], self.survival[inside]))
        mean = float(area.sum())
        right = np.cumsum(area[:0:-1])[::-1]  # area to the right of each row inside
        survivors = self.at_risk[inside] - self.deaths[inside]
        some = survivors > 0  # after the last death no area is left to vary
        variance = right[some] ** 2 * self.deaths[inside][some] / (self.at_risk[inside][some] * survivors[some])
        error = float(np.sqrt(variance.sum()))
        z = float(scipy.special.ndtri(0.5 + self.level / 2))
        spread = np.nan if self.interval == "none" else z * error
        return Estimate(mean, error, mean - spread, mean + spread, mean, mean)

    def _row(self, ages: ArrayLike) -> np.ndarray[tuple[int, ...], np.dtype[np.intp]]:
        return np.asarray(np.searchsorted(self.time, np.asarray(ages, dtype=np.float64), side="right") - 1)


def check_share(share: float) -> None:
    """Raise unless a share of the corals is one that some, but not all of them make up."""
    if not 0 < share < 1:
        raise SurvivalError.of("survival.not_a_share_dead", value=share)


def check_until(until: float) -> None:
    """Raise unless a mean can be taken up to that age."""
    if not 0 < until < np.inf:
        raise SurvivalError.of("survival.not_an_until", value=until)


def _stretch(time: Floats, curve: Floats, share: float) -> tuple[float, float]:
    """First and last age at which a falling curve could be said to pass `share`; nan, nan where it does not come so low."""
    reached = np.flatnonzero(curve <= share + SAME_SHARE)
    if not reached.size:
        return np.nan, np.nan
    first = int(reached[0])
    low = float(time[first])
    if curve[first] < share - SAME_SHARE:
        return low, low
    below = np.flatnonzero(curve < share - SAME_SHARE)
    return low, float(time[below[0]] if below.size else time[-1])


def _plain(survival: Floats, spread: Floats, z: float) -> tuple[Floats, Floats]:
    half = z * survival * spread
    return np.clip(survival - half, 0, 1), np.clip(survival + half, 0, 1)


def _log(survival: Floats, spread: Floats, z: float) -> tuple[Floats, Floats]:
    lower, upper = survival * np.exp(-z * spread), survival * np.exp(z * spread)
    undefined = np.where(np.isfinite(spread), 0.0, np.nan)
    return lower + undefined, np.minimum(upper, 1) + undefined


def log_log_limits(survival: Floats, spread: Floats, z: float) -> tuple[Floats, Floats]:
    """Limits z errors away on the scale of log(-log S), `spread` being the error of log S; nan at survival 0 and 1."""
    turn = np.exp(z * spread / np.log(survival))
    undefined = np.where((survival > 0) & (survival < 1), 0.0, np.nan)
    return survival ** (1 / turn) + undefined, survival**turn + undefined


def _none(survival: Floats, spread: Floats, z: float) -> tuple[Floats, Floats]:  # noqa: ARG001 - one form for all four
    nothing = np.full_like(survival, np.nan)
    return nothing, nothing


_LIMITS = {"log-log": log_log_limits, "log": _log, "plain": _plain, "none": _none}
