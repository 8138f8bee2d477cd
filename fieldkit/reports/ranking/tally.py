"""One table of plots by groups, from which every figure of a ranking follows."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from fieldkit.reports.ranking.expected import Numbers, Places, expected_losses

ROUNDING = 1e-9
"""Where all corals of a site are lost on one visit nothing varies; what is left then comes of the search for the curve."""


@dataclass(frozen=True, eq=False)
class Sums:
    """Sums over the corals of a place and group; every array has shape (places, groups)."""

    corals: Numbers
    lost: Numbers
    due: Numbers
    """Losses to be expected, had all corals of the site died alike."""
    due_squared: Numbers
    due_of_lost: Numbers
    """Losses that were due from the corals that were lost."""

    def scatter(self, ratio: Numbers | float) -> Numbers:
        """Sum over corals of (lost - ratio x due) squared."""
        return np.maximum(self.lost - 2 * ratio * self.due_of_lost + ratio**2 * self.due_squared, 0.0)

    def of(self, groups: Places) -> Sums:
        """The columns of these groups."""
        return Sums(*(table[:, groups] for table in self._tables))

    @property
    def _tables(self) -> tuple[Numbers, ...]:
        return self.corals, self.lost, self.due, self.due_squared, self.due_of_lost


@dataclass(frozen=True, eq=False)
class Tally:
    """Losses seen and losses due, by plot and group.

    Attributes:
        plots: sums of each plot.
        site: the number of the site of each plot.
    """

    plots: Sums
    site: Places

    @cached_property
    def sites(self) -> Sums:
        """The same sums by site."""
        return Sums(*(self.membership.T @ table for table in self.plots._tables))

    @cached_property
    def membership(self) -> Numbers:
        """1 where a plot belongs to a site, shape (plots, sites)."""
        belongs: Numbers = np.eye(int(self.site.max(initial=-1)) + 1)[self.site]
        return belongs

    @cached_property
    def share(self) -> Numbers:
        """Of the losses due at each site the part due to each group, shape (sites, groups)."""
        return ratio(self.sites.due, self.sites.due.sum(axis=1, keepdims=True), nothing=0.0)

    @cached_property
    def noise(self) -> Numbers:
        """Variance to mean of one coral's losses, by site: below 1 where many die, since a coral is lost but once."""
        noise = ratio(self.sites.scatter(1.0).sum(axis=1), self.sites.due.sum(axis=1), nothing=0.0)
        return np.where(noise > ROUNDING, noise, 0.0)


def tally(
    left: Numbers, right: Numbers, weight: Numbers, group: Places, plot: Places, site_of_plot: Places, groups: int
) -> Tally:
    """The sums of all corals.

    Args:
        left, right, weight: intervals of death as `turnbull` takes them, shape (n,).
        group, plot: numbers from 0, shape (n,).
        site_of_plot: the number of each plot's site, shape (plots,).
        groups: how many groups there are.
    """
    lost = np.isfinite(right)
    due = expected_losses(left, right, weight, site_of_plot[plot])
    cell = plot * groups + group

    def summed(of_one_coral: Numbers) -> Numbers:
        size = site_of_plot.size * groups
        return np.bincount(cell, weight * of_one_coral, size).reshape(site_of_plot.size, groups).astype(np.float64)

    sums = Sums(*(summed(values) for values in (np.ones_like(due), lost.astype(np.float64), due, due**2, due * lost)))
    return Tally(sums, site_of_plot)


def ratio(above: ArrayLike, below: ArrayLike, *, nothing: float = np.nan) -> Numbers:
    """One by the other; `nothing` where the other is 0."""
    over, under = np.broadcast_arrays(np.asarray(above, np.float64), np.asarray(below, np.float64))
    divided: Numbers = np.divide(over, under, out=np.full(over.shape, nothing), where=under != 0)
    return divided
