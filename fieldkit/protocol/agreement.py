"""When two recorders agree about one field."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldkit.protocol.number import number
from fieldkit.protocol.protocol import MEASURED, Field


def agree(field: Field, one: Any, other: Any) -> bool:
    """Whether two values of a field say the same, as far as the protocol asks.

    Numbers are compared as decimals and agree up to `agree_within` apart; choices agree in any order; a tally agrees
    where every count does, and a choice it does not name counts 0. Agreement is not transitive: 10 and 20, 20 and 30
    may each agree where 10 and 30 do not.
    """
    if field.kind in MEASURED:
        return _near(field, one, other)
    if field.kind == "choices" and isinstance(one, (list, tuple)) and isinstance(other, (list, tuple)):
        return sorted({str(value) for value in one}) == sorted({str(value) for value in other})
    if field.kind == "tally" and isinstance(one, Mapping) and isinstance(other, Mapping):
        return _counts(one) == _counts(other)
    return bool(one == other)


def _near(field: Field, one: Any, other: Any) -> bool:
    first, second = number(one), number(other)
    if first is None or second is None:
        return bool(one == other)
    return abs(first - second) <= (field.agree_within or 0)


def _counts(tally: Mapping[str, Any]) -> dict[str, Any]:
    counts = {choice: count if number(count) is None else number(count) for choice, count in tally.items()}
    return {choice: count for choice, count in counts.items() if count != 0}
