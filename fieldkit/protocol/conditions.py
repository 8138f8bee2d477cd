"""Where a field applies. Conditions are plain data: no formula language, and the same answer in Python and JavaScript.

`tests/cases/protocol/conditions.json` holds the cases that both must give.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldkit.protocol.number import number
from fieldkit.protocol.protocol import Field


def applies(field: Field, values: Mapping[str, Any]) -> bool:
    """Whether a field is to be recorded in a row with these values.

    Every name in `only_where` must hold one of the values listed with it: a choice or flag that is one of them, choices
    that have one of them, a tally that counts at least one of them. What is absent holds nothing. Values of any form are
    allowed; what is no value of a protocol holds nothing either.
    """
    return all(_holds(values.get(name), wanted) for name, wanted in field.only_where.items())


def _holds(value: Any, wanted: tuple[str, ...]) -> bool:
    if isinstance(value, str):
        return value in wanted
    if isinstance(value, (list, tuple)):
        return any(one in wanted for one in value)
    if isinstance(value, Mapping):
        return any((number(value.get(one)) or 0) > 0 for one in wanted)
    return False
