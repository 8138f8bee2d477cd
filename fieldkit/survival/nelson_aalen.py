"""Cumulative hazard: how many deaths one coral would have met by an age, had it been replaced each time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import overload

import numpy as np
from numpy.typing import ArrayLike

from fieldkit.survival.columns import Columns, Floats
from fieldkit.survival.groups import ByGroup, Labels
from fieldkit.survival.kaplan_meier import grouped_table
from fieldkit.survival.lifetable import running


@dataclass(frozen=True, eq=False)
class Hazard:
    """Cumulative hazard, one row per distinct age at which a coral died or left; arrays of one length."""

    time: Floats
    at_risk: Floats
    deaths: Floats
    hazard: Floats
    std_error: Floats


@overload
def nelson_aalen(
    time: ArrayLike, event: ArrayLike, *, weight: ArrayLike | None = ..., entry: ArrayLike | None = ..., group: None = ...
) -> Hazard: ...
@overload
def nelson_aalen(
    time: ArrayLike, event: ArrayLike, *, weight: ArrayLike | None = ..., entry: ArrayLike | None = ..., group: Labels
) -> ByGroup[Hazard]: ...
def nelson_aalen(
    time: ArrayLike,
    event: ArrayLike,
    *,
    weight: ArrayLike | None = None,
    entry: ArrayLike | None = None,
    group: Labels | None = None,
) -> Hazard | ByGroup[Hazard]:
    """Cumulative hazard, the sum of deaths / at risk; standard error in the Poisson form, sum of deaths / at risk squared.

    Tied deaths are not spread out: this is the plain estimate, not its tie-corrected form. Arguments, ties and late entry
    are those of `kaplan_meier`.

    Returns:
        A `Hazard`, or a mapping from label to it.

    Raises:
        SurvivalError: names each faulty argument with its first bad index, value and cure.

    Source:
        Nelson 1972, Technometrics 14:945-966; Aalen 1978, Ann. Stat. 6:701-726.
    """
    table, groups = grouped_table(Columns(), time, event, weight, entry, group)
    hazard = running(np.add, table.deaths / table.at_risk, table.bounds)
    error = np.sqrt(running(np.add, table.deaths / table.at_risk**2, table.bounds))

    def cut(at: int) -> Hazard:
        rows = table.rows(at)
        return Hazard(table.time[rows], table.at_risk[rows], table.deaths[rows], hazard[rows], error[rows])

    return cut(0) if group is None else ByGroup(groups.labels, cut)
