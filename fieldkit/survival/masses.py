"""The search for the masses of the NPMLE, over all groups in one concatenated array (EM-ICM).

Each round takes one step of self-consistency (EM) and two of the iterative convex minorant (ICM), and then goes on where the
last rounds led (momentum): EM alone needs thousands of rounds and can never bring back a mass that has become 0, ICM alone
may fail to rise, and without momentum a thousand groups took three times as many rounds. A group leaves as soon as its gap
is proven small enough, so that the slow ones do not pay for the rest.

Nodes: a group with m innermost intervals has m + 1 nodes, the ends of the intervals in order; the curve F (share dead) is
0 at the first and 1 at the last. The likelihood of a row is F at its last node less F at its first.

Source:
    Wellner & Zhan 1997, J. Am. Stat. Assoc. 92:945-959; gap: Lindsay 1983, Ann. Stat. 11:86-94; momentum that starts anew where
    it leads down: O'Donoghue & Candes 2015, Found. Comput. Math. 15:715-732.
"""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from fieldkit.survival.columns import Bools, Floats, Ints
from fieldkit.survival.errors import SurvivalError
from fieldkit.survival.isotonic import isotonic

_MANY = 100_000  # distinct rows, above which several processors are kept busy: NumPy lets go of the interpreter. Chosen by us
_PARTS = 4  # whatever the computer has, so that figures are the same on every one to the last digit
_CUTS = 8  # of an ICM step; one too short to find by then is none, and the EM step before it stands
_ROUNDS = 20_000  # a hundred times what the slowest of a million groups took: beyond, the search is not going to end
_SMALL = np.finfo(np.float64).tiny
_LEAST = 0.01  # of what a row must have at the maximum, or has now; chosen far below, so that hardly a step is cut for it


@dataclass(frozen=True)
class Cover:
    """Which nodes bound each row, groups one after the other.

    Attributes:
        first, last: the nodes between which the row's death lies, counted over all groups, first < last, shape (rows,).
        weight: corals per row, > 0, shape (rows,).
        of: the group of each row, rising, every group at least once, shape (rows,).
        heads: the first node of each group, and the number of all nodes.
    """

    first: Ints
    last: Ints
    weight: Floats
    of: Ints
    heads: Ints

    @cached_property
    def tails(self) -> Ints:
        return self.heads[1:] - 1

    @cached_property
    def node_of(self) -> Ints:
        return np.repeat(np.arange(self.tails.size), np.diff(self.heads))

    @cached_property
    def inner(self) -> Ints:
        """Nodes between the first and the last of their group: where the curve is free."""
        free = np.ones(self.heads[-1], dtype=bool)
        free[self.heads[:-1]] = free[self.tails] = False
        return np.flatnonzero(free)

    @cached_property
    def rows(self) -> Ints:
        """The first row of each group."""
        return np.searchsorted(self.of, np.arange(self.tails.size))

    @cached_property
    def total(self) -> Floats:
        return np.add.reduceat(self.weight, self.rows)

    @cached_property
    def least(self) -> Floats:
        """What no row is let fall below: a little of its share of the weight, which is the least it has at the maximum."""
        return _LEAST * self.weight / self.total[self.of]

    def on_nodes(self, nodes: Ints, values: Floats) -> Floats:
        return np.bincount(nodes, values, self.heads[-1]).astype(np.float64, copy=False)

    def only(self, groups: Bools) -> Cover:
        """The rows and nodes of some groups, renumbered."""
        rows = groups[self.of]
        sizes = np.diff(self.heads)[groups]
        heads = np.concatenate(([0], np.cumsum(sizes)))
        shift = np.zeros(groups.size, dtype=np.int64)
        shift[groups] = self.heads[:-1][groups] - heads[:-1]
        of = self.of[rows]
        return Cover(
            self.first[rows] - shift[of], self.last[rows] - shift[of], self.weight[rows], (np.cumsum(groups) - 1)[of], heads
        )


def masses(cover: Cover, gap: float) -> tuple[Floats, Floats]:
    """The curve F at all nodes, and the gap proven for each group.

    The gap is the largest, over the intervals of a group, of (sum of w / P over the rows that cover it) / (sum of w) - 1. It is
    0 at the maximum, and times the sum of w it bounds what the log-likelihood can still gain.
    """
    if cover.first.size < _MANY:
        found, proven = _searched(cover, gap)
    else:
        with ThreadPoolExecutor(os.cpu_count()) as pool:
            parts = list(pool.map(lambda groups: _searched(cover.only(groups), gap), _parts(cover)))
        found, proven = (np.concatenate(arrays) for arrays in zip(*parts, strict=True))
    return found - found[cover.heads[:-1]][cover.node_of], proven  # from exactly 0: sums over groups carry some 1e-14 along


def _parts(cover: Cover) -> list[Bools]:
    """The groups in a few runs of about as many nodes each, for as many processors: no group knows of another."""
    places = np.searchsorted(np.linspace(0, cover.heads[-1], _PARTS + 1)[1:-1], cover.heads[:-1], side="right")
    return [places == part for part in np.unique(places)]


def _searched(cover: Cover, gap: float) -> tuple[Floats, Floats]:
    found = np.empty(cover.heads[-1])
    proven = np.empty(cover.tails.size)
    groups, nodes = np.arange(cover.tails.size), np.arange(cover.heads[-1])
    curve = before = _even(cover)
    slope = _slope(cover, _likelihood(cover, curve))
    rounds = np.zeros(groups.size)
    for _ in range(_ROUNDS):
        pull = -np.cumsum(slope) / cover.total[cover.node_of]  # at the node before each interval; 1 wherever mass stays
        gaps = np.maximum.reduceat(pull, cover.heads[:-1]) - 1
        done = gaps <= gap
        if done.any():
            leaving = done[cover.node_of]
            found[nodes[leaving]], proven[groups[done]] = curve[leaving], gaps[done]
            curve, before, pull, nodes = curve[~leaving], before[~leaving], pull[~leaving], nodes[~leaving]
            groups, rounds, cover = groups[~done], rounds[~done], cover.only(~done)
        if not groups.size:
            return found, proven
        reached, _ = _minorant_step(cover, _consistent_step(cover, curve, pull))
        reached, slope = _minorant_step(cover, reached)
        curve, rounds = _onwards(cover, before, reached, slope, rounds)
        before, slope = reached, _slope(cover, _likelihood(cover, curve))
    raise SurvivalError.of("survival.no_end", groups=groups.size, gap=float(gaps.max()))


def _even(cover: Cover) -> Floats:
    """The same mass in every interval of a group."""
    step = 1 / (np.diff(cover.heads) - 1)
    return (np.arange(cover.heads[-1]) - cover.heads[:-1][cover.node_of]) * step[cover.node_of]


def _likelihood(cover: Cover, curve: Floats) -> Floats:
    return curve[cover.last] - curve[cover.first]


def _slope(cover: Cover, likelihood: Floats) -> Floats:
    """Slope of the log-likelihood in the curve, at each node."""
    ratio = cover.weight / likelihood
    return cover.on_nodes(cover.last, ratio) - cover.on_nodes(cover.first, ratio)


def _consistent_step(cover: Cover, curve: Floats, pull: Floats) -> Floats:
    """EM: every mass times its pull, the mean share of it that the rows claim."""
    return _curve(cover, np.diff(curve, append=0.0) * pull)


def _curve(cover: Cover, mass: Floats) -> Floats:
    """The curve with these masses, each at the node before its interval."""
    mass[cover.tails] = -1.0  # back to 0 at the next group's head, so that no group carries rounding to the next
    return np.concatenate(([0.0], np.cumsum(mass)[:-1]))


def _onwards(cover: Cover, before: Floats, reached: Floats, slope: Floats, rounds: Floats) -> tuple[Floats, Floats]:
    """Go on from where a round has led, the further the more rounds it rose. Gives the curve, and in how many rounds it did.

    A group whose likelihood falls in that direction, or in which a row would be left with next to nothing, stays where it is
    and counts anew.
    """
    heads, gone = cover.heads[:-1], reached - before
    rounds = np.where(np.add.reduceat(slope * gone, heads) < 0, 0.0, rounds + 1)
    mass = np.maximum(np.diff(reached + (rounds / (rounds + 3))[cover.node_of] * gone, append=0.0), 0.0)
    curve = _curve(cover, mass / np.add.reduceat(mass, heads)[cover.node_of])
    starved = _likelihood(cover, curve) < _LEAST * _likelihood(cover, reached)
    rounds[cover.of[starved]] = 0.0
    return np.where((rounds > 0)[cover.node_of], curve, reached), rounds


def _minorant_step(cover: Cover, curve: Floats) -> tuple[Floats, Floats]:
    """ICM: towards the rising curve nearest to a Newton step with diagonal Hessian. Gives the curve reached and its slope."""
    likelihood = _likelihood(cover, curve)
    slope = _slope(cover, likelihood)
    ratio = cover.weight / likelihood**2
    inner = cover.inner
    bend = (cover.on_nodes(cover.last, ratio) + cover.on_nodes(cover.first, ratio))[inner]
    target = isotonic(curve[inner] + slope[inner] / bend, bend, cover.node_of[inner])
    step = np.zeros_like(curve)
    step[inner] = np.clip(target, 0, 1) - curve[inner]
    least = np.minimum(cover.least, _LEAST * likelihood)
    return _along(cover, curve, step, np.add.reduceat(slope * step, cover.heads[:-1]), least)


def _along(cover: Cover, curve: Floats, step: Floats, rise: Floats, least: Floats) -> tuple[Floats, Floats]:
    """Go as far along the step as the likelihood surely rises, per group.

    It is concave, so it has risen wherever it is rising still. Past its top the length is cut where a straight line puts the
    top, a little short of it; a group that finds none stays where it is, on the EM step before.

    A step may make a stretch flat that a row needs: its likelihood is then 0, or by rounding an ulp beside it, and the slope is
    noise (of 1e17, which would drown the groups after it as well). At the maximum no row has less than its share w / sum of
    w, since it alone would pull more than 1; so no row is let fall far below that.
    """
    length = np.ones(rise.size)
    tried = curve + step
    for _ in range(_CUTS):
        likelihood = _likelihood(cover, tried)
        starved = np.flatnonzero(likelihood < least)
        likelihood[starved] = least[starved]
        there = _slope(cover, likelihood)
        still = np.add.reduceat(there * step, cover.heads[:-1])
        beyond = still < 0
        beyond[cover.of[starved]] = True
        if not beyond.any():
            return tried, there
        top = 0.95 * rise[beyond] / np.maximum(rise[beyond] - still[beyond], _SMALL)
        length[beyond] *= np.where((top > 0.1) & (top < 1), top, 0.5)
        tried = curve + length[cover.node_of] * step
    length[beyond] = 0.0
    tried = curve + length[cover.node_of] * step
    return tried, _slope(cover, _likelihood(cover, tried))
