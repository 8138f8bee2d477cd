"""A step of the search that makes a stretch flat may make it fall by an ulp: then the likelihood is no number."""

from __future__ import annotations

import numpy as np

from fieldkit.survival.masses import Cover, masses

# One replicate of the sample programme's plots, with which the search once never ended: a row's two nodes, and its corals.
ROWS = ((0, 1, 1), (1, 2, 2), (1, 3, 3), (2, 3, 4), (3, 4, 2), (3, 5, 1), (4, 6, 10), (5, 7, 4),
        (6, 8, 3), (7, 9, 1), (7, 10, 20), (8, 10, 42), (9, 10, 29))  # fmt: skip


def test_a_step_into_a_falling_curve_is_not_taken() -> None:
    first, last, corals = (np.array(column) for column in zip(*ROWS, strict=True))
    cover = Cover(first, last, corals.astype(float), np.zeros(len(ROWS), dtype=int), np.array([0, 11]))
    curve, gap = masses(cover, 1e-9)
    assert gap[0] <= 1e-9
    assert np.all(np.diff(curve) >= -1e-15)


def test_groups_searched_together_end_as_they_do_alone() -> None:
    rng = np.random.default_rng(7)
    covers = [_cover(rng) for _ in range(200)]
    together, _ = masses(_joined(covers), 1e-7)
    alone = np.concatenate([masses(cover, 1e-7)[0] for cover in covers])
    np.testing.assert_allclose(together, alone, atol=1e-3)  # two curves within a gap of 1e-7 of one maximum
    np.testing.assert_allclose(together[np.cumsum([cover.heads[-1] for cover in covers]) - 1], 1, atol=1e-9)


def _cover(rng: np.random.Generator) -> Cover:
    """Plots drawn anew: a row is in it so many times, and some are not."""
    corals = rng.poisson([corals for _, _, corals in ROWS]) + np.array([end - start == 1 for start, end, _ in ROWS])
    kept = corals > 0
    first, last = (np.array([row[i] for row in ROWS])[kept] for i in (0, 1))
    return Cover(first, last, corals[kept].astype(float), np.zeros(kept.sum(), dtype=int), np.array([0, 11]))


def _joined(covers: list[Cover]) -> Cover:
    heads = np.cumsum([0, *(cover.heads[-1] for cover in covers)])
    return Cover(
        np.concatenate([cover.first + head for cover, head in zip(covers, heads[:-1], strict=True)]),
        np.concatenate([cover.last + head for cover, head in zip(covers, heads[:-1], strict=True)]),
        np.concatenate([cover.weight for cover in covers]),
        np.concatenate([cover.of + i for i, cover in enumerate(covers)]),
        heads,
    )
