"""Names of earlier versions brought up to date, so that what was observed under them counts on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from fieldkit.protocol.protocol import Field


class Renaming:
    """What fields and choices were called before, as their `was` says."""

    def __init__(self, fields: Iterable[Field]) -> None:
        named = {field.name: field for field in fields}
        self._fields = {was: field.name for field in named.values() for was in field.was}
        choices = {name: {was: choice.value for choice in field.values for was in choice.was} for name, field in named.items()}
        self._choices = {name: now for name, now in choices.items() if now}

    def __call__(self, values: Mapping[str, Any]) -> dict[str, Any]:
        """A row's values under the names of now.

        What has no `was` keeps its name. So does an old name that stands beside the new one: neither is dropped for the other.
        """
        told = _under_new_names(values, self._fields) if self._fields else dict(values)
        for name in self._choices.keys() & told.keys():
            told[name] = _choices_now(self._choices[name], told[name])
        return told


def renamed(fields: Iterable[Field], values: Mapping[str, Any]) -> dict[str, Any]:
    """A row's values under the names that these fields and their choices have now."""
    return Renaming(fields)(values)


def _choices_now(now: Mapping[str, str], value: Any) -> Any:
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
