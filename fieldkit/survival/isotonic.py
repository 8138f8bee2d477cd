"""The rising curve nearest to given values: weighted isotonic regression, many groups at once."""

from __future__ import annotations

import numpy as np

from fieldkit.survival.columns import Floats, Ints


def isotonic(values: Floats, weight: Floats, group: Ints) -> Floats:
    """Least-squares fit that does not fall within a group, by pooling adjacent violators.

    Whole falling runs are pooled at once, for all groups together: neighbours that violate the order end up in one block
    whatever is pooled first, so the fit is the same as one by one.

    Args:
        values, weight, group: shape (n,); weights > 0; rows of one group stand together, groups in rising order.

    Source:
        Ayer et al. 1955, Ann. Math. Stat. 26:641-647.
    """
    starts = np.arange(values.size)
    pooled = weight * (values + 1j)  # sum of weight * value, and of weight, in one pass as the parts of a complex number
    mean = values
    while True:
        rises = (mean[1:] >= mean[:-1]) | (group[1:] != group[:-1])
        if rises.all():
            return np.repeat(mean, np.diff(starts, append=values.size))
        heads = np.flatnonzero(np.concatenate(([True], rises)))
        pooled, group, starts = np.add.reduceat(pooled, heads), group[heads], starts[heads]
        mean = pooled.real / pooled.imag
