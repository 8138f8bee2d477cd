"""The arrays a caller hands over, checked once, with every fault named.

Each check gives the column as NumPy array or adds a fault to the list; `raise_all` then says all of them at once. A row is
named by its index from 0, as the caller would write it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldkit.errors import Fault, raise_all
from fieldkit.survival.errors import SurvivalError

Floats: TypeAlias = NDArray[np.float64]
Ints: TypeAlias = NDArray[np.int64]
Bools: TypeAlias = NDArray[np.bool_]


class Columns:
    """The columns of one call: all as long as the first, faults gathered until `done`."""

    def __init__(self, error: type[SurvivalError] = SurvivalError) -> None:
        self.length: int | None = None
        self._error = error
        self._faults: list[Fault] = []

    def times(self, name: str, values: ArrayLike, *, endless: bool = False) -> Floats:
        """Ages in days, >= 0; `endless` allows `inf`."""
        column = self._numbers(name, values)
        if not column.size or (column.min() >= 0 and (endless or column.max() < np.inf)):
            return column
        self._refuse("survival.not_a_number", name, column, np.isnan(column) if endless else ~np.isfinite(column))
        self._refuse("survival.negative_time", name, column, column < 0)
        return column

    def events(self, name: str, values: ArrayLike) -> Bools:
        """1 or True where a death was seen, 0 or False where not."""
        given: NDArray[Any] = np.asarray(values)
        if given.dtype == np.bool_:
            self._measure(name, given)
            flags: Bools = np.asarray(given, dtype=np.bool_)
            return flags
        column = self._numbers(name, given)
        self._refuse("survival.not_an_event", name, column, ~np.isin(column, (0, 1)))
        dead: Bools = column == 1
        return dead

    def causes(self, name: str, values: ArrayLike) -> Ints:
        """Whole numbers >= 0; 0 is censored."""
        column = self._numbers(name, values)
        whole = np.isfinite(column) & (column >= 0) & (column == np.floor(column))
        self._refuse("survival.not_a_cause", name, column, ~whole)
        return np.where(whole, column, 0).astype(np.int64)

    def weights(self, name: str, values: ArrayLike | None) -> Floats | None:
        """How many corals each row stands for, >= 0; None where each row is one coral."""
        if values is None:
            return None
        column = self._numbers(name, values)
        self._refuse("survival.not_a_weight", name, column, ~(np.isfinite(column) & (column >= 0)))
        return column

    def labels(self, name: str, values: Sequence[object] | NDArray[np.generic]) -> None:
        """A label per row; only their number is looked at here."""
        if len(values) != self.length:
            self._faults.append(Fault("survival.length", {"argument": name, "given": len(values), "expected": self.length}))

    def level(self, level: float) -> None:
        """The share that limits are to cover, between 0 and 1."""
        self.demand(0 < level < 1, "survival.not_a_level", value=level)

    def order(self, key: str, earlier: Floats, later: Floats, wrong: Callable[[Floats, Floats], Bools]) -> None:
        """Refuse rows whose two ends stand in the `wrong` order; nothing is said where a length is at fault already."""
        if earlier.shape == later.shape:
            rows = np.flatnonzero(wrong(earlier, later))
            if rows.size:
                row = int(rows[0])
                data = {"row": row, "earlier": f"{earlier[row]:g}", "later": f"{later[row]:g}", "count": rows.size}
                self._faults.append(Fault(key, data))

    def demand(self, holds: bool, key: str, **data: object) -> None:
        """Any other condition on the call."""
        if not holds:
            self._faults.append(Fault(key, data))

    def done(self) -> None:
        """Raise all faults found, if any."""
        raise_all(self._error, self._faults)

    def _numbers(self, name: str, values: ArrayLike) -> Floats:
        try:
            column = np.asarray(values, dtype=np.float64)
        except (TypeError, ValueError) as error:
            raise self._error.of("survival.no_numbers", argument=name, why=str(error)) from error
        self._measure(name, column)
        return column

    def _measure(self, name: str, column: NDArray[np.generic]) -> None:
        if column.ndim != 1:
            raise self._error.of("survival.not_flat", argument=name, shape=column.shape)
        if self.length is None:
            self.length = len(column)
        self.demand(len(column) == self.length, "survival.length", argument=name, given=len(column), expected=self.length)

    def _refuse(self, key: str, name: str, column: Floats, bad: Bools) -> None:
        if bad.any():
            row = int(np.argmax(bad))
            count = int(np.count_nonzero(bad))
            self._faults.append(Fault(key, {"argument": name, "row": row, "value": f"{column[row]:g}", "count": count}))
