"""One field, noted by two recorders of each of several corals: how often they agree, and by how much they differ. Pure.

Agreement is the protocol's: equal, or for measured fields within `agree_within`. Fields that take one of a list, or several
signs of one, have kappa besides; those that are `ordered` weighted too; measured ones have limits of agreement.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Any

from fieldkit.protocol import Field, agree, number
from fieldkit.protocol.protocol import MEASURED
from fieldkit.reports.agreement.kappa import Kappa, Weights, kappa, pooled_kappa, weights_of
from fieldkit.reports.agreement.limits import Differences, differences
from fieldkit.survival import wilson

LEVEL = 0.95
NEARLY_ALL = 0.9
"""From this share of all values in one class on, kappa says little: hardly anything is left that chance would not give. Chosen
by us; the paradox is that of Feinstein & Cicchetti 1990, J. Clin. Epidemiol. 43:543-549 (from memory)."""

Value = Any
Pair = tuple[Value, Value]
_WEIGHTED: tuple[Weights, ...] = ("linear", "quadratic")


@dataclass(frozen=True)
class Compared:
    """What the pairs of values of one field say.

    Attributes:
        n: pairs in which both noted it; `agree` of them agree, by the protocol.
        lower, upper: Wilson's limits of that share.
        classes: the values that occur, in the order of the protocol; empty where the field has none.
        table: how often the first recorder noted the class of the row and the second that of the column.
        kappas: by kind of weights: `unweighted`, for ordered fields `linear` and `quadratic` too.
        most, most_share: the commonest class of all values, and its share.
        apart: of measured fields, how far the two lie apart: the median, in the unit of the field.
        differences: of measured fields, the first recorder's value less the second's; None where no recorder is the first.
    """

    n: int
    agree: int
    lower: float
    upper: float
    classes: tuple[Any, ...] = ()
    table: tuple[tuple[int, ...], ...] = ()
    kappas: Mapping[Weights, Kappa] | None = None
    most: Any = None
    most_share: float | None = None
    apart: float | None = None
    differences: Differences | None = None

    @property
    def share(self) -> float:
        return self.agree / self.n

    @property
    def is_nearly_all_one(self) -> bool:
        """Whether one class holds so many values that kappa has to be read beside the table."""
        return self.most_share is not None and self.most_share >= NEARLY_ALL


def compared(field: Field, pairs: Sequence[Pair], *, parts: bool) -> Compared | None:
    """Compare one field; None where no pair noted it on both sides.

    Args:
        pairs: the two values of each coral, both noted.
        parts: whether the first of each pair is always the same recorder; else kappa is that of all recorders pooled, and
            differences have no sign that means anything.
    """
    if not pairs:
        return None
    agreeing = sum(agree(field, *pair) for pair in pairs)
    lower, upper = wilson(agreeing, len(pairs), LEVEL)
    if field.kind in MEASURED:
        found = _differences(pairs)
        apart = median(map(abs, found)) if found else None
        by_size = differences(found, level=LEVEL) if parts else None
        return Compared(len(pairs), agreeing, lower, upper, apart=apart, differences=by_size)
    if field.kind == "tally":
        return Compared(len(pairs), agreeing, lower, upper)
    classes = _classes(field, pairs)
    counts = Counter((_class(one), _class(other)) for one, other in pairs)
    table = tuple(tuple(counts[row, column] for column in classes) for row in classes)
    most, often = Counter(_class(value) for pair in pairs for value in pair).most_common(1)[0]
    return Compared(
        len(pairs),
        agreeing,
        lower,
        upper,
        classes,
        table,
        _kappas(field, classes, table, parts),
        most,
        often / (2 * len(pairs)),
    )


def _kappas(field: Field, classes: Sequence[Any], table: Sequence[Sequence[int]], parts: bool) -> dict[Weights, Kappa]:
    listed = [choice.value for choice in field.values]
    is_ordered = field.ordered and set(classes) <= set(listed)
    kinds: tuple[Weights, ...] = ("unweighted", *(_WEIGHTED if is_ordered else ()))
    places = [listed.index(one) if is_ordered else place for place, one in enumerate(classes)]
    by = kappa if parts else pooled_kappa
    return {kind: by(table, weights_of(places, kind), level=LEVEL) for kind in kinds}


def _classes(field: Field, pairs: Iterable[Pair]) -> tuple[Any, ...]:
    """The classes that occur: of a list in its order, of several signs by how many there are and what they are called."""
    listed = {choice.value: place for place, choice in enumerate(field.values)}
    found = {_class(value) for pair in pairs for value in pair}

    def place(value: Hashable) -> tuple[int, list[int], str]:
        signs = value if isinstance(value, tuple) else (value,)
        return len(signs), [listed.get(sign, len(listed)) for sign in signs], str(value)

    return tuple(sorted(found, key=place))


def _class(value: Value) -> Any:
    return tuple(sorted(map(str, value))) if isinstance(value, (list, tuple)) else value


def _differences(pairs: Iterable[Pair]) -> list[float]:
    told = [(number(one), number(other)) for one, other in pairs]
    return [float(one - other) for one, other in told if one is not None and other is not None]
