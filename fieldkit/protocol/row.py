"""One row judged by its protocol: the marshmallow schema that is built from the file, and what it understands of a row.

A row is what one entry's `values` say of a coral, of a counted plot, or of a session as a whole. Names of the contract
(docs/entries.md) are passed over: they are judged elsewhere. Nothing is refused for good here. What is not understood is
named with its reason and left out, and the rest counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, ClassVar

from marshmallow import RAISE, Schema, ValidationError, pre_load, validates_schema

from fieldkit.errors import Fault
from fieldkit.protocol.conditions import applies
from fieldkit.protocol.faults import shown
from fieldkit.protocol.protocol import HEAD_NAMES, PLANTING_NAMES, ROW_NAMES, Field, Of, Protocol
from fieldkit.protocol.renaming import Renaming
from fieldkit.protocol.spelling import nearest
from fieldkit.protocol.value import value_of

_CONTRACT = ROW_NAMES | HEAD_NAMES | PLANTING_NAMES


@dataclass(frozen=True, slots=True)
class Understood:
    """What a row says, each value in its one form, and what of it was not understood.

    A choice, number, percent, text or flag is a string, choices a tuple in the order of the protocol, a tally a mapping
    from choice to count.
    """

    values: dict[str, Any]
    faults: tuple[Fault, ...]


def understand(protocol: Protocol, of: Of, values: Mapping[str, Any]) -> Understood:
    """What a row's values say under a protocol.

    Args:
        of: what the row is about: "coral", "count" (a genotype in a counted plot) or "head" (the session).
        values: as they stand in an entry; of any form.

    Returns:
        The values that are right by themselves and beside each other, under the names of this protocol (a name or value
        that it renamed with `was` counts on), and a fault for each that is not; `fault.data["name"]` is its name.
    """
    row = _schema_in_use(protocol, of)
    return row.plainly(values) or understood(row, values)


@cache
def schema(protocol: Protocol, of: Of) -> type[_Row]:
    """The marshmallow schema of a protocol's "coral", "count" or "head" rows, one class a file and kind of row.

    Loading gives the values as `Understood` has them; the messages of its ValidationError are `Fault`s by field.
    """
    return row_schema(protocol.fields_of(of))


def row_schema(fields: Iterable[Field]) -> type[_Row]:
    """The schema of rows with these fields."""
    judged = tuple(fields)
    made: type[_Row] = _Row.from_dict({field.name: value_of(field) for field in judged}, name="Row")  # type: ignore[assignment]
    made.protocol_fields = judged
    made.passed_over = _CONTRACT - {field.name for field in judged}
    made.now = Renaming(judged)
    return made


def understood(row: Schema, values: Any) -> Understood:
    """What a schema made by `row_schema` understands of a row."""
    try:
        return Understood(row.load(values), ())
    except ValidationError as error:
        messages: dict[str, list[Fault]] = error.normalized_messages()  # type: ignore[no-untyped-call]
        valid = error.valid_data if isinstance(error.valid_data, dict) else {}
        kept = {name: value for name, value in valid.items() if name not in messages}
        return Understood(kept, tuple(fault for faults in messages.values() for fault in faults))


@cache
def _schema_in_use(protocol: Protocol, of: Of) -> _Row:
    """Making an instance takes longer than judging a row with it, and a base judges a hundred thousand rows."""
    return schema(protocol, of)()


class _Row(Schema):
    class Meta:
        unknown = RAISE

    protocol_fields: ClassVar[tuple[Field, ...]] = ()
    passed_over: ClassVar[frozenset[str]] = _CONTRACT
    now: ClassVar[Renaming] = Renaming(())

    def plainly(self, values: Any) -> Understood | None:
        """What is understood of a row in which nothing is wrong, by the same fields; None where something may be.

        Most rows are so and say three of a protocol's fifteen fields. A schema goes through all of them before and after.
        """
        if not isinstance(values, Mapping):
            return None
        said = self.now({name: value for name, value in values.items() if name not in self.passed_over})
        if values.get("searched") == "no" or not said.keys() <= self.fields.keys():
            return None
        try:
            sound = {name: self.fields[name].deserialize(value) for name, value in said.items()}
        except ValidationError:
            return None
        concerned = (field for field in self.protocol_fields if field.required or field.name in sound)
        return None if any(_fault(field, sound, said) for field in concerned) else Understood(sound, ())

    @pre_load
    def under_its_name_now(self, values: Any, **_: Any) -> Any:
        """Without the contract's names, and with names of earlier versions brought up to date."""
        if not isinstance(values, Mapping):
            return values
        return self.now({name: value for name, value in values.items() if name not in self.passed_over})

    @validates_schema(skip_on_field_errors=False, pass_original=True)
    def as_a_whole(self, understood: dict[str, Any], values: Any, **_: Any) -> None:
        """Conditions, and what must not be left out. A field that falls takes along those that hang on it further down."""
        if not isinstance(values, Mapping):
            return
        faults: dict[str, list[Fault]] = {}
        sound = dict(understood)
        for field in self.protocol_fields:
            fault = _fault(field, sound, values)
            if fault is not None:
                sound.pop(field.name, None)
                faults[field.name] = [fault]
        if faults:
            raise ValidationError(faults)

    def handle_error(self, error: ValidationError, data: Any, **_: Any) -> None:
        """marshmallow's own messages are English sentences; ours are faults, which know their language when they are read."""
        told: dict[str, list[Any]] = error.normalized_messages()  # type: ignore[no-untyped-call]
        error.messages = {name: [self.as_fault(name, data, one) for one in found] for name, found in told.items()}

    def as_fault(self, name: str, data: Any, message: Any) -> Fault:
        if isinstance(message, Fault):
            return message
        if not isinstance(data, Mapping):
            return Fault("protocol.row_no_object", {"name": name, "value": shown(data)})
        return Fault("protocol.unknown_field", {"name": shown(name), "known": nearest(name, self.fields)})


def _fault(field: Field, sound: Mapping[str, Any], values: Mapping[str, Any]) -> Fault | None:
    """What is wrong with the place of a field in a row: `sound` is what was understood, `values` what was said."""
    if values.get("searched") == "no":
        return Fault("protocol.not_searched", {"name": field.name}) if _is_said(field, values) else None
    if field.name in sound and not applies(field, sound):
        return Fault("protocol.does_not_apply", {"name": field.name, "conditions": _conditions(field)})
    if field.required and not _is_said(field, values) and applies(field, sound):
        return Fault("protocol.required", {"name": field.name})
    return None


def _is_said(field: Field, values: Mapping[str, Any]) -> bool:
    return any(name in values for name in (field.name, *field.was))


def _conditions(field: Field) -> str:
    return ", ".join(f"{name} = {' / '.join(wanted)}" for name, wanted in field.only_where.items())
