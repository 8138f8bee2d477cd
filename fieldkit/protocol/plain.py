"""A protocol as plain data, for those who cannot read TOML: the entry page, and programs that ask the base."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from decimal import Decimal
from typing import Any

from fieldkit.protocol.protocol import Protocol


def plain(protocol: Protocol) -> dict[str, Any]:
    """Everything a protocol says, under the names of its dataclasses, made of objects, lists, texts, truths and whole numbers.

    Decimals are texts; what the file leaves out is null or empty; the bytes themselves are left out, `digest` names them.
    """
    return {name: value for name, value in _plain(protocol).items() if name != "body"}


def _plain(value: Any) -> Any:
    if is_dataclass(value):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Mapping):
        return {name: _plain(one) for name, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(one) for one in value]
    return f"{value:f}" if isinstance(value, Decimal) else value
