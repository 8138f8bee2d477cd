"""A draw of the plots that a small crew can follow: so many of each genotype at each site, by lot. Pure.

A plot's place in the order is the SHA-256 of seed and id, so that anybody can draw again, with any program, and comes to the
same plots; so that no order of the register plays a part; and so that a greater number keeps those that a smaller one drew.
Within a genotype at a site each plot is as likely as any other. A plot of several genotypes is followed if it is drawn for
one of them.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Mapping


def drawn(plots: Mapping[str, Iterable[str]], *, seed: str, each: int) -> tuple[str, ...]:
    """The plots of one site that are to be followed.

    Args:
        plots: plot to the genotypes that stand in it; one with none counts as a genotype of its own.
        seed: any text; with the same one the same plots are drawn.
        each: how many of each genotype, from 1; where there are fewer, all of them.
    """
    order = sorted(plots, key=lambda plot: place(seed, plot))
    of_genotype: dict[str, list[str]] = defaultdict(list)
    for plot in order:
        for genotype in set(plots[plot]) or {""}:
            of_genotype[genotype].append(plot)
    chosen = {plot for mine in of_genotype.values() for plot in mine[:each]}
    return tuple(plot for plot in order if plot in chosen)


def place(seed: str, plot: str) -> str:
    """Where a plot stands in the order of a draw."""
    return hashlib.sha256(f"{seed} {plot}".encode()).hexdigest()
