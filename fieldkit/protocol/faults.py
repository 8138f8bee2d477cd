"""The faults of one protocol file, gathered while it is read, so that all are told at once and in the order of its lines."""

from __future__ import annotations

import reprlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, time
from decimal import Decimal
from typing import Any

from fieldkit import messages
from fieldkit.errors import Fault, raise_all
from fieldkit.protocol.errors import ProtocolError
from fieldkit.protocol.places import Path, line_of


class _Short(reprlib.Repr):
    """Values as a file writes them rather than as Python does, cut short wherever they are long."""

    def repr_bool(self, x: bool, _level: int) -> str:
        return str(x).lower()

    def repr_NoneType(self, _x: None, _level: int) -> str:  # noqa: N802 (the base class finds it by the type's name)
        return "null"

    def repr_int(self, x: int, level: int) -> str:
        # Python refuses to write out an integer of more than 4300 digits.
        return super().repr_int(x, level) if x.bit_length() < 128 else "…"

    def repr_Decimal(self, x: Decimal, _level: int) -> str:  # noqa: N802
        return str(x)

    def repr_date(self, x: date, _level: int) -> str:
        return x.isoformat()

    repr_datetime = repr_date

    def repr_time(self, x: time, _level: int) -> str:
        return x.isoformat()


_SHORT = _Short()


def shown(value: Any) -> str:
    """A value as a sentence quotes it: short, whatever it is."""
    if isinstance(value, str):
        return value if len(value) <= 60 else f"{value[:59]}…"
    return _SHORT.repr(value)


@dataclass(frozen=True)
class PlacedFault(Fault):
    """A fault that says where it is before it says what; its data has `file`, `line` and `where` beside the rest."""

    def text(self, language: str = messages.DEFAULT) -> str:
        return messages.text("protocol.placed", language, **self.data, reason=super().text(language))


class Faults:
    """What was found wrong so far. A fault is placed by the path of keys that leads to it."""

    def __init__(self, file: str, lines: Mapping[Path, int], names: Mapping[Path, str]) -> None:
        self._file = file
        self._lines = lines
        self._names = names  # of the fields and rounds: "field.status" says more than "field.1"
        self._found: list[tuple[Path, Fault]] = []

    def __len__(self) -> int:
        return len(self._found)

    def add(self, path: Path, key: str, **data: Any) -> None:
        """One more. `data` is what the sentence names; a `name` or `value` out of the file is made fit to print."""
        quoted = {name: shown(data[name]) for name in ("name", "value") if name in data}
        self.take(path, Fault(f"protocol.{key}", data | quoted))

    def take(self, path: Path, fault: Fault) -> None:
        """One more, which says what is wrong but not yet where."""
        place = {"file": self._file, "line": line_of(path, self._lines), "where": self._where(path)}
        self._found.append((path, PlacedFault(fault.key, {**fault.data, **place})))

    def touch(self, path: Path) -> bool:
        """Whether anything is wrong at a path or within it."""
        return any(found[: len(path)] == path for found, _ in self._found)

    def refuse(self) -> None:
        """Raise ProtocolError with all of them, if there is any."""
        found = (fault for _, fault in self._found)
        raise_all(ProtocolError, sorted(found, key=lambda fault: (fault.data["line"], fault.data["where"], fault.key)))

    def _where(self, path: Path) -> str:
        parts = []
        for end, part in enumerate(path, start=1):
            counted = str(part + 1) if isinstance(part, int) else shown(part)
            parts.append(self._names.get(path[:end], counted))
        return ".".join(parts) or "-"
