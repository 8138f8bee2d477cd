"""The value of one field, in its one form: a marshmallow field for each kind that a protocol knows.

Values are text as typed. What is understood comes out in one form only ("12,50 " as "12.50", choices in the order of the
protocol), so that whoever reads it later need not ask how it was written.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from marshmallow import ValidationError, fields

from fieldkit.errors import Fault
from fieldkit.protocol.faults import shown
from fieldkit.protocol.number import written
from fieldkit.protocol.protocol import FLAG_VALUES, Field
from fieldkit.protocol.spelling import nearest


def value_of(field: Field) -> fields.Field[Any]:
    """The marshmallow field that judges values of a protocol's field."""
    return _KINDS[field.kind](field)


class _Value(fields.Field[Any]):
    def __init__(self, field: Field) -> None:
        super().__init__()
        self.field = field
        self.choices = frozenset(choice.value for choice in field.values)

    def refusal(self, fault: str, value: Any, **data: Any) -> ValidationError:
        found = Fault(f"protocol.{fault}", {"name": self.field.name, "value": shown(value), **data})
        return ValidationError([found])

    def make_error(self, key: str, **_: Any) -> ValidationError:  # noqa: ARG002
        """marshmallow itself asks for one error only here: a value that is null."""
        return self.refusal("empty", None)

    def chosen(self, value: Any) -> str:
        """The name of a choice as it is now."""
        if isinstance(value, str) and value in self.choices:
            return value
        known = nearest(shown(value), [choice.value for choice in self.field.values])
        raise self.refusal("not_in_list", value, known=known)

    def ordered(self, names: Mapping[str, Any] | set[str]) -> list[str]:
        return [choice.value for choice in self.field.values if choice.value in names]


class _Choice(_Value):
    def _deserialize(self, value: Any, *_: Any, **__: Any) -> str:
        return self.chosen(value)


class _Choices(_Value):
    def _deserialize(self, value: Any, *_: Any, **__: Any) -> tuple[str, ...]:
        if not isinstance(value, (list, tuple)) or not value:
            raise self.refusal("not_a_list_of_values", value)
        chosen = {self.chosen(one) for one in value}
        # "none" says that all of them were looked for and none was seen.
        if "none" in chosen and len(chosen) > 1:
            raise self.refusal("none_beside_others", ", ".join(self.ordered(chosen)))
        return tuple(self.ordered(chosen))


class _Tally(_Value):
    def _deserialize(self, value: Any, *_: Any, **__: Any) -> dict[str, str]:
        if not isinstance(value, Mapping) or not value:
            raise self.refusal("not_a_tally", value)
        counts = {self.chosen(choice): self.count(count) for choice, count in value.items()}
        return {choice: counts[choice] for choice in self.ordered(counts)}

    def count(self, value: Any) -> str:
        count = written(value)
        if count is None or not count.isdigit():
            raise self.refusal("not_a_count", value)
        return count


class _Number(_Value):
    def _deserialize(self, value: Any, *_: Any, **__: Any) -> str:
        number = written(value)
        if number is None:
            raise self.refusal("not_a_number", value)
        self.check_limits(Decimal(number))
        return number

    def check_limits(self, number: Decimal) -> None:
        least, most = self.field.min, self.field.max
        if least is not None and number < least:
            raise self.refusal("below_min", str(number), min=str(least))
        if most is not None and number > most:
            raise self.refusal("above_max", str(number), max=str(most))


class _Text(_Value):
    def _deserialize(self, value: Any, *_: Any, **__: Any) -> str:
        if not isinstance(value, str) or not value.strip():
            raise self.refusal("empty", value)
        return value.strip()


class _Flag(_Value):
    def _deserialize(self, value: Any, *_: Any, **__: Any) -> str:
        if isinstance(value, str) and value in FLAG_VALUES:
            return value
        raise self.refusal("not_yes_or_no", value)


_KINDS: Mapping[str, type[_Value]] = {
    "choice": _Choice,
    "choices": _Choices,
    "tally": _Tally,
    "percent": _Number,
    "number": _Number,
    "text": _Text,
    "flag": _Flag,
}
