"""The nearest rising curve, against pooling one pair at a time."""

from __future__ import annotations

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldkit.survival.isotonic import isotonic

values = st.lists(st.tuples(st.integers(-20, 20), st.integers(1, 5), st.integers(0, 2)), min_size=1, max_size=40)


def one_by_one(points: list[tuple[int, int]]) -> list[float]:
    """Pool adjacent violators, left to right."""
    blocks: list[tuple[float, float, int]] = []
    for value, weight in points:
        blocks.append((float(value), float(weight), 1))
        while len(blocks) > 1 and blocks[-2][0] > blocks[-1][0]:
            (v, w, n), (u, x, m) = blocks[-2:]
            blocks[-2:] = [((v * w + u * x) / (w + x), w + x, n + m)]
    return [value for value, _, length in blocks for _ in range(length)]


@settings(max_examples=200)
@given(values)
def test_pooling_whole_runs_of_all_groups_gives_what_pooling_one_by_one_gives(rows: list[tuple[int, int, int]]) -> None:
    rows = sorted(rows, key=lambda row: row[2])
    value, weight, group = (np.array(column) for column in zip(*rows, strict=True))
    expected = [fit for g in range(3) for fit in one_by_one([row[:2] for row in rows if row[2] == g])]
    np.testing.assert_allclose(isotonic(value.astype(float), weight.astype(float), group), expected, rtol=0, atol=1e-12)
