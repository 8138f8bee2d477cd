"""What each group's losses come to beside those due, once every site and every group has had its share.

Losses due under one curve for all of a site judge a group by its company: beside poor ones even a middling group looks good.
So sites get a factor and groups a ratio, such that each site and each group has as many losses as were seen. Where every
group stands at every site alike, this changes nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from fieldkit.reports.ranking.expected import Numbers, Places
from fieldkit.reports.ranking.tally import Tally, ratio

SETTLED = 1e-10  # of a factor, relative: far below what a reader sees
STEPS = 5000  # a hundred sites that hang together in a chain take some 3,000


@dataclass(frozen=True, eq=False)
class Balance:
    """Losses due and the ratio of losses seen to them.

    Attributes:
        factor: by which losses due at each site are scaled, shape (sites,).
        due: losses due to each group, had it been like the mean of its set, shape (groups,).
        ratio: losses seen to losses due, shape (groups,); nan where nothing was lost at any site of a group.
        sets: the set of each group, shape (groups,): groups that shared sites tie together, directly or through others.
            Ratios compare within a set, not between two.
    """

    factor: Numbers
    due: Numbers
    ratio: Numbers
    sets: Places


def balance(table: Tally) -> Balance:
    """The factors and ratios with which sites and groups both have the losses that were seen.

    They are the maximum likelihood fit of Poisson counts with the losses due as exposure, found by scaling rows and columns
    in turn.

    Source:
        Deming & Stephan 1940, Ann. Math. Stat. 11:427-444 (scaling in turn); Breslow & Day 1987, Statistical Methods in
        Cancer Research II, section 4 (from memory; the fit as an adjusted ratio of observed to expected).
    """
    due, lost = table.sites.due, table.sites.lost
    factor = np.ones(len(due))
    for _ in range(STEPS):
        before = factor
        of_group = ratio(lost.sum(axis=0), before @ due, nothing=0.0)
        factor = ratio(lost.sum(axis=1), due @ of_group, nothing=0.0)
        if np.all(np.abs(factor - before) <= SETTLED * before):
            break
    set_of_site, sets = _sets(table)
    factor = factor * _scale(set_of_site, sets, factor[:, None] * due, lost)
    return Balance(factor, factor @ due, ratio(lost.sum(axis=0), factor @ due), sets)


def _sets(table: Tally) -> tuple[Places, Places]:
    """Which sites, and so which groups, hang together."""
    present = table.sites.corals > 0
    # A group that lost nothing ties no sites together: its ratio is 0 beside good company and bad alike.
    tying = (present & (table.sites.lost.sum(axis=0) > 0)).astype(np.float64)
    set_of_site = np.asarray(scipy.sparse.csgraph.connected_components(tying @ tying.T)[1], dtype=np.int64)
    return set_of_site, set_of_site[np.argmax(present, axis=0)]


def _scale(set_of_site: Places, sets: Places, due: Numbers, lost: Numbers) -> Numbers:
    """For each site what makes the losses due to its set as many as were seen: only ratios between groups mean something."""
    seen = np.bincount(sets, lost.sum(axis=0), set_of_site.size)
    expected = np.bincount(set_of_site, due.sum(axis=1), set_of_site.size)
    return ratio(seen, expected, nothing=1.0)[set_of_site]
