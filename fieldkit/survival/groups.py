"""Group labels as small integers, and results by label.

All groups are worked on in one pass over concatenated arrays; a label's own result is cut out only when it is asked for, so
a thousand groups cost no more than their rows.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

from fieldkit.survival.columns import Ints
from fieldkit.survival.errors import SurvivalError

Labels: TypeAlias = Sequence[Hashable] | NDArray[Any]
T = TypeVar("T")


@dataclass(frozen=True)
class Groups:
    """Distinct labels in order, and for each row the place of its label among them."""

    labels: tuple[Hashable, ...]
    code: Ints


def numbered(labels: Labels | None, rows: int) -> Groups:
    """Labels as numbers: sorted where they can be compared, by their text where not. None is one group for all rows.

    Raises:
        SurvivalError: a label is NaN, which equals nothing, not even itself.
    """
    if labels is None:
        return Groups((None,), np.zeros(rows, dtype=np.int64))
    if isinstance(labels, np.ndarray) and labels.ndim == 1 and labels.dtype.kind in "iub":
        return _numbered_integers(labels)
    listed: list[Hashable]
    if isinstance(labels, np.ndarray):
        listed = labels.tolist() if labels.ndim == 1 else [tuple(row) for row in labels.tolist()]
    else:
        listed = list(labels)
    found = dict.fromkeys(listed)
    for label in found:
        if label != label:
            raise SurvivalError.of("survival.label_not_a_number", row=listed.index(label))
    ordered = _in_order(list(found))
    place = {label: at for at, label in enumerate(ordered)}
    return Groups(tuple(ordered), np.fromiter(map(place.__getitem__, listed), np.int64, len(listed)))


def _numbered_integers(labels: NDArray[Any]) -> Groups:
    """Integers in a narrow range take a table, the rest one sort."""
    if not labels.size:
        return Groups((), np.zeros(0, dtype=np.int64))
    low, high = int(labels.min()), int(labels.max())
    if high - low > 4 * labels.size + 1024:
        distinct, code = np.unique(labels.astype(np.int64), return_inverse=True)
        return Groups(tuple(distinct.tolist()), code)
    above = labels.astype(np.int64, copy=False) - low
    present = np.zeros(high - low + 1, dtype=bool)
    present[above] = True
    place = np.cumsum(present) - 1
    return Groups(tuple((np.flatnonzero(present) + low).tolist()), above if present.all() else place[above])


def _in_order(labels: list[Any]) -> list[Any]:
    try:
        return sorted(labels)
    except TypeError:  # None among texts, say: any fixed order will do, so long as the order of rows plays no part
        return sorted(labels, key=lambda label: (type(label).__name__, str(label)))


class ByGroup(Mapping[Hashable, T], Generic[T]):
    """Result by label, in the order of the labels; each is cut out of the whole when first asked for."""

    def __init__(self, labels: Sequence[Hashable], cut: Callable[[int], T]) -> None:
        self._place = {label: at for at, label in enumerate(labels)}
        self._cut = cut
        self._made: dict[Hashable, T] = {}

    def __getitem__(self, label: Hashable) -> T:
        if label not in self._made:
            self._made[label] = self._cut(self._place[label])
        return self._made[label]

    def __iter__(self) -> Iterator[Hashable]:
        return iter(self._place)

    def __len__(self) -> int:
        return len(self._place)

    def __repr__(self) -> str:
        return f"ByGroup({', '.join(map(repr, self._place))})"
