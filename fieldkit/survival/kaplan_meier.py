"""Survival with each death dated when it was found: the estimate of most reports in the trade.

It keeps the curve too high between visits, the more so the rarer they are; `turnbull` does not. Here so that figures
compare with older ones.
"""

from __future__ import annotations

from typing import overload

import numpy as np
from numpy.typing import ArrayLike

from fieldkit.survival.columns import Bools, Columns, Floats
from fieldkit.survival.curve import INTERVALS, Curve, Interval
from fieldkit.survival.groups import ByGroup, Groups, Labels, numbered
from fieldkit.survival.lifetable import LifeTable, life_table, running


@overload
def kaplan_meier(
    time: ArrayLike,
    event: ArrayLike,
    *,
    weight: ArrayLike | None = ...,
    entry: ArrayLike | None = ...,
    group: None = ...,
    level: float = ...,
    interval: Interval = ...,
) -> Curve: ...
@overload
def kaplan_meier(
    time: ArrayLike,
    event: ArrayLike,
    *,
    weight: ArrayLike | None = ...,
    entry: ArrayLike | None = ...,
    group: Labels,
    level: float = ...,
    interval: Interval = ...,
) -> ByGroup[Curve]: ...
def kaplan_meier(
    time: ArrayLike,
    event: ArrayLike,
    *,
    weight: ArrayLike | None = None,
    entry: ArrayLike | None = None,
    group: Labels | None = None,
    level: float = 0.95,
    interval: Interval = "log-log",
) -> Curve | ByGroup[Curve]:
    """Survival from deaths whose day is taken as known (the product-limit estimate).

    Args:
        time: age at death, or when last seen alive, days since outplanting, shape (n,), >= 0.
        event: 1 or True where `time` is a death, 0 or False where the coral was last seen alive, shape (n,).
        weight: how many corals each row stands for, shape (n,), >= 0. Default 1. Greenwood's variance takes them as counts;
            where they are not, use `bootstrap_survival`.
        entry: age from which the coral was under observation, shape (n,), below `time`; 0 from the outplanting on.
            At risk in (entry, time].
        group: a label per row, shape (n,). Given, the result maps label to curve, sorted by label.
        level: what the limits are to cover, between 0 and 1.
        interval: scale of the limits. "log-log" stays within 0 and 1 and covers best with few corals, but is undefined at
            survival 1 and 0 (nan); "log"; "plain"; "none".

    Returns:
        A `Curve`, one row per distinct age; on one day deaths come before censorings.

    Raises:
        SurvivalError: names each faulty argument with its first bad index, value and cure.

    Source:
        Kaplan & Meier 1958, J. Am. Stat. Assoc. 53:457-481; Greenwood 1926 (variance); Kalbfleisch & Prentice 1980 (log-log).
    """
    columns = Columns()
    columns.level(level)
    columns.demand(interval in INTERVALS, "survival.not_an_interval", value=interval, known=", ".join(INTERVALS))
    table, groups = grouped_table(columns, time, event, weight, entry, group)
    survival = running(np.multiply, (table.at_risk - table.deaths) / table.at_risk, table.bounds)

    def cut(at: int) -> Curve:
        rows = table.rows(at)
        return Curve(
            table.time[rows], table.at_risk[rows], table.deaths[rows], table.censored[rows], survival[rows], level, interval
        )

    return cut(0) if group is None else ByGroup(groups.labels, cut)


def grouped_table(
    columns: Columns,
    time: ArrayLike,
    event: ArrayLike,
    weight: ArrayLike | None,
    entry: ArrayLike | None,
    group: Labels | None,
) -> tuple[LifeTable, Groups]:
    """The checked columns of dated deaths as a life table; all faults are raised here."""
    ages = columns.times("time", time)
    dead: Bools = columns.events("event", event)
    weights = columns.weights("weight", weight)
    entries: Floats | None = None
    if entry is not None:
        entries = columns.times("entry", entry)
        columns.order("survival.entry_not_before", entries, ages, lambda start, end: (start > 0) & (start >= end))
    if group is not None:
        columns.labels("group", group)
    columns.done()
    groups = numbered(group, ages.size)
    return life_table(ages, dead, groups.code, len(groups.labels), weights, entries), groups
