"""Names of earlier versions brought up to date, so that what was observed under them counts on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from fieldkit.protocol.protocol import Field


def renamed(fields: Iterable[Field], values: Mapping[str, Any]) -> dict[str, Any]:
    """A row's values under the names that fields and choices have now, as their `was` says.

    What has no `was` keeps its name. So does an old name that stands beside the new one: neither is dropped for the other.
    """
    by_name = {field.name: field for field in fields}
    now = {was: field.name for field in by_name.values() for was in field.was}
    told = _under_new_names(values, now)
    return {name: _choices_now(by_name[name], value) if name in by_name else value for name, value in told.items()}


def _choices_now(field: Field, value: Any) -> Any:
    now = {was: choice.value for choice in field.values for was in choice.was}
    if not now:
        return value
    if isinstance(value, str):
        return now.get(value, value)
    if isinstance(value, Mapping):
        return _under_new_names(value, now)
    if isinstance(value, (list, tuple)):
        return type(value)(now.get(one, one) if isinstance(one, str) else one for one in value)
    return value


def _under_new_names(values: Mapping[str, Any], now: Mapping[str, str]) -> dict[str, Any]:
    told: dict[str, Any] = {}
    for name, value in values.items():
        new = now.get(name, name)
        told[name if new in values or new in told else new] = value
    return told
