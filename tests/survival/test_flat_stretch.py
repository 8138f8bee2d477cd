"""A step of the search that makes a stretch flat may make it fall by an ulp: then the likelihood is no number."""

from __future__ import annotations

import numpy as np

from fieldkit.survival.masses import Cover, masses

# One replicate of the sample programme's plots, with which the search once never ended: nodes between which each row lies, corals.
ROWS = ((0, 1, 1), (1, 2, 2), (1, 3, 3), (2, 3, 4), (3, 4, 2), (3, 5, 1), (4, 6, 10), (5, 7, 4),
        (6, 8, 3), (7, 9, 1), (7, 10, 20), (8, 10, 42), (9, 10, 29))  # fmt: skip


def test_a_step_into_a_falling_curve_is_not_taken() -> None:
    first, last, corals = (np.array(column) for column in zip(*ROWS, strict=True))
    cover = Cover(first, last, corals.astype(float), np.zeros(len(ROWS), dtype=int), np.array([0, 11]))
    curve, gap = masses(cover, 1e-9)
    assert gap[0] <= 1e-9
    assert np.all(np.diff(curve) >= -1e-15)
