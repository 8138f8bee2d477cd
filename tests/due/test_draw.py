"""A draw of followed plots: by lot, the same again from the same seed, nobody's by the order of the register."""

from __future__ import annotations

import hashlib
from collections import Counter

from hypothesis import given
from hypothesis import strategies as st

from fieldkit.due.draw import drawn

PLOTS = st.dictionaries(st.text("abcdef0123456789", min_size=1, max_size=6), st.sets(st.sampled_from("GHK"), max_size=2))


@given(PLOTS, st.text(max_size=5), st.integers(1, 4))
def test_of_each_genotype_so_many_are_followed_or_all_there_are(plots: dict[str, set[str]], seed: str, each: int) -> None:
    chosen = drawn(plots, seed=seed, each=each)
    assert len(chosen) == len(set(chosen)) and set(chosen) <= plots.keys()
    for genotype in "GHK":
        there = [plot for plot in plots if genotype in plots[plot]]
        assert len([plot for plot in chosen if genotype in plots[plot]]) >= min(each, len(there))


@given(PLOTS, st.text(max_size=5), st.integers(1, 4))
def test_the_order_of_the_register_plays_no_part_and_more_keep_those_that_fewer_drew(
    plots: dict[str, set[str]], seed: str, each: int
) -> None:
    turned = dict(reversed(plots.items()))
    assert drawn(plots, seed=seed, each=each) == drawn(turned, seed=seed, each=each)
    assert set(drawn(plots, seed=seed, each=each)) <= set(drawn(plots, seed=seed, each=each + 1))


def test_anybody_can_draw_again_with_another_program() -> None:
    """The place of a plot is the SHA-256 (FIPS 180-4) of seed, a blank and its id."""
    plots = {f"p{number}": {"G"} for number in range(9)}
    order = sorted(plots, key=lambda plot: hashlib.sha256(b"reef " + plot.encode()).hexdigest())
    assert drawn(plots, seed="reef", each=4) == tuple(order[:4])


def test_each_plot_is_as_likely_as_any_other() -> None:
    """Chi-square of 2000 draws of one of five plots, 4 degrees of freedom: 18.47 is its 99.9 % point (tables of chi-square)."""
    plots = {f"p{number}": {"G"} for number in range(5)}
    found = Counter(drawn(plots, seed=str(seed), each=1)[0] for seed in range(2000))
    assert sum((n - 400) ** 2 / 400 for n in found.values()) < 18.47 and len(found) == 5
