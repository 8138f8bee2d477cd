"""Survival figures: arrays in, curves out.

A library of its own: NumPy and `scipy.special`, and nothing of fieldkit's but its way of saying what is wrong. Ages are days
since outplanting. `docs/survival.md` defines every figure and says which may be used for what.
"""

from fieldkit.survival.causes import Incidence, cumulative_incidence
from fieldkit.survival.compare import LogRank, difference, holm, logrank
from fieldkit.survival.curve import Curve, Estimate, Figures
from fieldkit.survival.errors import IntervalError, SurvivalError
from fieldkit.survival.groups import ByGroup
from fieldkit.survival.kaplan_meier import kaplan_meier
from fieldkit.survival.nelson_aalen import Hazard, nelson_aalen
from fieldkit.survival.proportion import wilson
from fieldkit.survival.resample import Contrast, Resampled, bootstrap_difference, bootstrap_survival
from fieldkit.survival.turnbull import IntervalCurve, distinct_intervals, turnbull

__all__ = [
    "ByGroup",
    "Contrast",
    "Curve",
    "Estimate",
    "Figures",
    "Hazard",
    "Incidence",
    "IntervalCurve",
    "IntervalError",
    "LogRank",
    "Resampled",
    "SurvivalError",
    "bootstrap_difference",
    "bootstrap_survival",
    "cumulative_incidence",
    "difference",
    "distinct_intervals",
    "holm",
    "kaplan_meier",
    "logrank",
    "nelson_aalen",
    "turnbull",
    "wilson",
]
