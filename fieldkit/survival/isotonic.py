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
    pull, mass, mean = values * weight, weight, values
    while mean.size > 1:
        rises = (mean[1:] >= mean[:-1]) | (group[starts[1:]] != group[starts[:-1]])
        if rises.all():
            break
        heads = np.flatnonzero(np.concatenate(([True], rises)))
        pull, mass, starts = np.add.reduceat(pull, heads), np.add.reduceat(mass, heads), starts[heads]
        mean = pull / mass
    return np.repeat(mean, np.diff(starts, append=values.size))
