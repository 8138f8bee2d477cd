"""What can go wrong, as data: a catalogue key and the things the sentence names.

Every error that fieldkit raises on purpose is a `FieldkitError`. A room's `errors.py` derives its own, one sentence
each. Errors of other libraries stop at the edge where they arise and are raised again as one of these, with the cause kept.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Self

from fieldkit import messages


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong: which sentence says so, and what it speaks of (file, row, column, value …)."""

    key: str
    data: Mapping[str, Any] = field(default_factory=dict)

    def text(self, language: str = messages.DEFAULT) -> str:
        return messages.text(self.key, language, **self.data)


class FieldkitError(Exception):
    """Something was refused; nothing was changed. Carries all faults found, not only the first."""

    def __init__(self, *faults: Fault) -> None:
        super().__init__(*faults)
        self.faults = faults

    @classmethod
    def of(cls, key: str, /, **data: Any) -> Self:
        """The error for a single fault."""
        return cls(Fault(key, data))

    def texts(self, language: str = messages.DEFAULT) -> list[str]:
        return [fault.text(language) for fault in self.faults]

    def __str__(self) -> str:
        return "\n".join(self.texts())


def raise_all(error: type[FieldkitError], faults: Iterable[Fault]) -> None:
    """Raise `error` with all faults, if there is any."""
    found = tuple(faults)
    if found:
        raise error(*found)
