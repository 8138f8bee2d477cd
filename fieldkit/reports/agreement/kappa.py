"""Cohen's kappa: agreement beyond what the recorders' own shares of the classes would give by chance. Arrays in, figures out.

    kappa = (po - pe) / (1 - pe),    po = sum w_ij p_ij,    pe = sum w_ij p_i. p_.j

with p the table as shares of its total and w how far two classes count as agreeing: 1 on the diagonal, elsewhere 0
(unweighted), 1 - d (linear) or 1 - d^2 (quadratic), d being the distance of the two classes in the order of the protocol
over the largest.

Sources: Cohen 1960, Educ. Psychol. Meas. 20:37-46; Cohen 1968, Psychol. Bull. 70:213-220; standard errors: Fleiss, Cohen
& Everitt 1969, Psychol. Bull. 72:323-327. Checked against published tables in tests/reference.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Literal

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

Weights = Literal["unweighted", "linear", "quadratic"]
Table = NDArray[np.float64]


@dataclass(frozen=True)
class Kappa:
    """Kappa with its parts.

    Attributes:
        observed, expected: the share of agreement seen, and that which chance alone would give; weighted where kappa is.
        value: None where chance alone gives full agreement: both put everything into one class.
        lower, upper: limits; None where the table gives no standard error, full agreement above all, which is no proof.
    """

    observed: float
    expected: float
    value: float | None
    lower: float | None
    upper: float | None


def weights_of(places: Sequence[float], kind: Weights) -> Table:
    """How far each pair of classes counts as agreeing, 0 to 1.

    Args:
        places: where each class stands in the order of degree; they differ.
        kind: "unweighted" passes over the order.
    """
    if kind == "unweighted" or len(places) < 2:
        return np.eye(len(places))
    distance = np.abs(np.subtract.outer(np.asarray(places, float), np.asarray(places, float)))
    distance /= distance.max()
    weights: Table = 1 - (distance if kind == "linear" else distance**2)
    return weights


def kappa(table: ArrayLike, weights: ArrayLike | None = None, *, level: float = 0.95) -> Kappa:
    """Cohen's kappa of two recorders who keep their parts.

    Args:
        table: counts, shape (k, k): rows what the one said, columns what the other said; at least one count.
        weights: agreement weights, shape (k, k), 1 on the diagonal; None: unweighted.
        level: of the limits, by the normal approximation (large samples).
    """
    counts = np.asarray(table, float)
    w = np.eye(len(counts)) if weights is None else np.asarray(weights, float)
    n = counts.sum()
    p = counts / n
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    observed, expected = float((w * p).sum()), float(rows @ w @ columns)
    if expected >= 1:
        return Kappa(observed, expected, None, None, None)
    value = (observed - expected) / (1 - expected)
    beside = (w @ columns)[:, None] + (rows @ w)[None, :]
    spread = (p * (w * (1 - expected) - beside * (1 - observed)) ** 2).sum()
    variance = (spread - (observed * expected - 2 * expected + observed) ** 2) / (n * (1 - expected) ** 4)
    return Kappa(observed, expected, value, *_limits(value, sqrt(max(variance, 0)), level))


def pooled_kappa(table: ArrayLike, weights: ArrayLike | None = None, *, level: float = 0.95) -> Kappa:
    """Kappa of many recorders together, none of whom is the one or the other: chance by the shares of all of them.

    Each pair of observations counts both ways round. Of corals that were all seen equally often this is Fleiss' kappa (1971,
    Psychol. Bull. 76:378-382), of two observations each Scott's pi (1955, Public Opin. Q. 19:321-325; from memory). The limits
    are the jackknife's over pairs (Quenouille 1956, Biometrika 43:353-360; from memory).

    Args: as for `kappa`; it plays no part which observation of a pair is the row.
    """
    counts = np.asarray(table, float)
    w = np.eye(len(counts)) if weights is None else np.asarray(weights, float)
    n = counts.sum()
    observed, expected, value = _pooled(counts, w)
    if value is None:
        return Kappa(observed, expected, None, None, None)
    without = [(times, _pooled(_less_one(counts, cell), w)[2]) for cell, times in _cells(counts) if n > 1]
    if not without or any(one is None for _, one in without):
        return Kappa(observed, expected, value, None, None)
    times, ones = np.array([one for one, _ in without]), np.array([one for _, one in without], float)
    variance = (n - 1) / n * (times * (ones - (times @ ones) / n) ** 2).sum()
    return Kappa(observed, expected, value, *_limits(value, sqrt(variance), level))


def _pooled(counts: Table, w: Table) -> tuple[float, float, float | None]:
    p = (counts + counts.T) / (2 * counts.sum())
    shares = p.sum(axis=0)
    observed, expected = float((w * p).sum()), float(shares @ w @ shares)
    return observed, expected, None if expected >= 1 else (observed - expected) / (1 - expected)


def _cells(counts: Table) -> list[tuple[tuple[int, int], float]]:
    return [((int(i), int(j)), float(counts[i, j])) for i, j in np.argwhere(counts > 0)]


def _less_one(counts: Table, cell: tuple[int, int]) -> Table:
    less = counts.copy()
    less[cell] -= 1
    return less


def _limits(value: float, std_error: float, level: float) -> tuple[float | None, float | None]:
    if std_error < 1e-12:  # full agreement, or full disagreement: the table says nothing of how sure that is
        return None, None
    reach = float(scipy.special.ndtri((1 + level) / 2)) * std_error
    return max(value - reach, -1.0), min(value + reach, 1.0)
