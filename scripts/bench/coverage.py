"""Do the limits over plots cover the truth as often as they say? Simulates reefs whose survival is known, and counts.

    python scripts/bench/coverage.py [--reefs 400] [--replicates 300] [--percentile] [--spread 0.5] [--plots 48 24 12 6]

A reef has plots of 5 to 15 corals. Corals of a plot share a fate: their rate of dying is the plot's, drawn from a gamma
distribution of mean 1 and variance `--spread`, so that survival over all plots is known, (1 + spread x t / life)^(-1 / spread).
Rounds at 30, 90, 180, 365 and 730 days; each plot is visited some days off (standard deviation 10) and one visit in ten does
not take place; tags are lost at random, and such a coral is missing from then on (left open). Printed for each number of plots
and each age: how often the 95 % limits hold the truth, how often they lie all above and all below it, their mean width, how
many reefs had limits at all (none where survival is 1 or 0), and the bias of the estimate, its mean error over all reefs.
"days": the estimate from the days of death as if they were known; "visits": from the visits; "difference": between two
genotypes that share the plots. `--percentile` adds plain percentiles of as many replicates that draw all plots.
"""

from __future__ import annotations

import argparse

import numpy as np

from fieldkit.survival import bootstrap_difference, bootstrap_survival, turnbull

ROUNDS = np.array([30, 90, 180, 365, 730])
LIFE = 365 / -np.log(0.7)  # 70 % of an average plot live a year
TAG_LIFE = 3000.0
WORSE = 1.5  # times as fast as the other dies the worse of two genotypes that are compared


def reef(by_chance: np.random.Generator, plots: int, spread: float, worse: float = 1.0) -> dict[str, np.ndarray]:
    """One reef: for each coral its plot, the interval of its death by the visits, and by the day.

    Every other coral is of genotype 1, which dies `worse` times as fast.
    """
    plot = np.repeat(np.arange(plots), by_chance.integers(5, 16, plots))
    genotype = np.arange(plot.size) % 2
    rate = by_chance.gamma(1 / spread, spread, plots)[plot] / LIFE * np.where(genotype == 1, worse, 1.0)
    dies = np.ceil(by_chance.exponential(1 / rate))
    visits = np.round(np.maximum(ROUNDS + by_chance.normal(0, 10, (plots, ROUNDS.size)), 1))
    happened = by_chance.random(visits.shape) > 0.1
    loses_tag = by_chance.exponential(TAG_LIFE, plot.size)
    seen = happened[plot] & (visits[plot] < loses_tag[:, None])
    alive, dead = seen & (visits[plot] < dies[:, None]), seen & (visits[plot] >= dies[:, None])
    left = np.where(alive, visits[plot], 0).max(axis=1)
    right = np.where(dead, visits[plot], np.inf).min(axis=1)
    end = np.minimum(np.where(seen, visits[plot], 0).max(axis=1), dies)
    day = np.where(dies <= end, dies, np.inf)
    return {"plot": plot, "genotype": genotype, "left": left, "right": right, "end": end, "day": day}


def truth(spread: float, worse: float = 1.0) -> np.ndarray:
    return (1 + spread * worse * ROUNDS / LIFE) ** (-1 / spread)


def percentiles(
    by_chance: np.random.Generator, plot: np.ndarray, left: np.ndarray, right: np.ndarray, replicates: int
) -> tuple[np.ndarray, np.ndarray]:
    """The plain bootstrap: all plots drawn with replacement, limits at the percentiles of the replicates."""
    plots = int(plot.max()) + 1
    drawn = by_chance.multinomial(plots, np.full(plots, 1 / plots), replicates)
    weight = drawn[:, plot].ravel().astype(float)
    many = {"left": np.tile(left, replicates), "right": np.tile(right, replicates)}
    curves = turnbull(**many, weight=weight, group=np.repeat(np.arange(replicates), plot.size))
    lower, upper = np.percentile([curve.at(ROUNDS) for curve in curves.values()], [2.5, 97.5], axis=0)
    return lower, upper


def counted(lower: np.ndarray, upper: np.ndarray, estimate: np.ndarray, true: np.ndarray) -> str:
    """One line of the table for limits and estimates of shape (reefs, ages)."""
    known = np.isfinite(lower)
    with np.errstate(invalid="ignore"):
        above, below = (lower > true).sum(axis=0), (upper < true).sum(axis=0)
    n = known.sum(axis=0)
    width = np.where(known, upper - lower, 0).sum(axis=0) / n
    bias = (estimate - true).mean(axis=0)
    cells = [
        f"{100 * (1 - (a + b) / k):5.1f} ({100 * a / k:4.1f} {100 * b / k:4.1f}) {w:.3f} {k:4d} {e:+.4f}"
        for a, b, k, w, e in zip(above, below, n, width, bias, strict=True)
    ]
    return "   ".join(cells)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--reefs", type=int, default=400)
    options.add_argument("--replicates", type=int, default=300)
    options.add_argument("--spread", type=float, default=0.5)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--plots", type=int, nargs="+", default=(48, 24, 12, 6))
    options.add_argument("--percentile", action="store_true")
    given = options.parse_args()
    true = truth(given.spread)
    apart = true - truth(given.spread, WORSE)
    print(f"95 % limits, {given.reefs} reefs, {given.replicates} replicates, spread between plots {given.spread}")
    print("true survival at", ", ".join(f"{age} d: {share:.3f}" for age, share in zip(ROUNDS, true, strict=True)))
    print("per age: % covered (% all above, % all below the truth) mean width, reefs with limits, bias")
    for plots in given.plots:
        found: dict[str, list[tuple[np.ndarray, np.ndarray, np.ndarray]]] = {}
        for number in range(given.reefs):
            for name, limits in estimated(np.random.default_rng([given.seed, plots, number]), plots, given).items():
                found.setdefault(name, []).append(limits)
        for name, limits in found.items():
            lower, upper, estimate = (np.array(side) for side in zip(*limits, strict=True))
            is_difference = name.startswith("difference")
            print(
                f"{plots:3d} plots, {name:20s} {counted(lower, upper, estimate, apart if is_difference else true)}", flush=True
            )


def estimated(
    by_chance: np.random.Generator, plots: int, given: argparse.Namespace
) -> dict[str, tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """The limits of every kind on one reef, and what they stand around."""
    found = {}
    dice = {"replicates": given.replicates, "seed": int(by_chance.integers(2**31))}
    corals = reef(by_chance, plots, given.spread)
    for name, left, right in (("days", "end", "day"), ("visits", "left", "right")):
        at = bootstrap_survival(corals[left], corals[right], corals["plot"], ROUNDS, **dice)
        found[name] = at.lower, at.upper, at.survival
        if given.percentile:
            limits = percentiles(by_chance, corals["plot"], corals[left], corals[right], given.replicates)
            found[f"{name}, percentiles"] = *limits, at.survival
    two = reef(by_chance, plots, given.spread, WORSE)
    at = bootstrap_difference(two["left"], two["right"], two["plot"], ROUNDS, two["genotype"], 0, 1, **dice)
    return found | {"difference, visits": (at.lower, at.upper, at.difference)}


if __name__ == "__main__":
    main()
