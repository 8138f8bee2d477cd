"""What can go wrong with the arrays that survival figures are made of."""

from __future__ import annotations

from fieldkit.errors import FieldkitError


class SurvivalError(FieldkitError, ValueError):
    """Arrays or options that no figure can be made of; names the argument, the first bad index, its value and the cure."""


class IntervalError(SurvivalError):
    """An interval that ends before it begins, or an end that is not a number."""
