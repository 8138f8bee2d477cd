"""Limits of a plain share, for where every coral was seen and no curve is needed."""

from __future__ import annotations

import scipy

from fieldkit.survival.errors import SurvivalError


def wilson(successes: float, n: float, level: float = 0.95) -> tuple[float, float]:
    """Score limits of a share, without continuity correction.

    They stay within 0 and 1 and keep their promise with few corals. They take the corals as independent: corals of one
    plot share a fate, and then the limits are too narrow.

    Args:
        successes: how many of them, 0 to n.
        n: how many there were, > 0.
        level: what the limits are to cover, between 0 and 1.

    Returns:
        Lower and upper limit; exactly 0 where none succeeded, exactly 1 where all did.

    Raises:
        SurvivalError: a number out of its range.

    Source:
        Wilson 1927, J. Am. Stat. Assoc. 22:209-212.
    """
    if not 0 < level < 1:
        raise SurvivalError.of("survival.not_a_level", value=level)
    if not (n > 0 and 0 <= successes <= n):
        raise SurvivalError.of("survival.not_a_share", successes=successes, n=n)
    z2 = float(scipy.special.ndtri(0.5 + level / 2)) ** 2
    middle = successes + z2 / 2
    half = (z2 * (successes * (n - successes) / n + z2 / 4)) ** 0.5
    lower, upper = (middle - half) / (n + z2), (middle + half) / (n + z2)
    return (0.0 if successes == 0 else lower), (1.0 if successes == n else upper)
