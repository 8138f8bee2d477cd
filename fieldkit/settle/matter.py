"""A matter: something only a person can settle; and the rulings that settle it. Pure.

A matter is named by what it is about, so that every base that sees the same observations asks the same question under the same id.
A ruling lies over the observations that it names and replaces none. It applies while exactly those are present: a late observation
opens the matter again and leaves the old ruling as a suggestion.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fieldkit.errors import Fault
from fieldkit.ledger import Entry, canonical, sha256

KINDS = (
    "double",
    "same_slate",
    "tag",
    "history",
    "size",
    "date",
    "site",
    "value",
    "name",
    "count",
    "corrected_twice",
    "rulings_differ",
    "continued_twice",
    "not_entitled",
)


def matter_id(kind: str, of: Iterable[str]) -> str:
    """The same on every base: SHA-256 of the canonical `[kind, [of …]]`."""
    return sha256(canonical([kind, sorted(of)]))


@dataclass(frozen=True, slots=True)
class Matter:
    """One question."""

    kind: str
    of: tuple[str, ...]
    """Sorted digests of the entries that it is about, or ids of sessions."""
    why: Fault
    unit: str
    """The plot, session or site that it belongs to."""
    corals: tuple[str, ...] = ()
    visit: str | None = None
    session: str | None = None
    fields: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    """Name of a field to digest to value, where observations differ."""
    answers: tuple[str, ...] = ()
    """The answers that can settle it; none: it is settled by mending what it is about."""
    ruling: str | None = None
    """Digest of the ruling that settles it."""

    @property
    def id(self) -> str:
        return matter_id(self.kind, self.of)

    @property
    def is_open(self) -> bool:
        return self.ruling is None


@dataclass(frozen=True, slots=True)
class Ruling:
    """A lead's answer to one matter."""

    digest: str
    matter: str
    of: tuple[str, ...]
    answer: str
    keys: Mapping[str, Any]


class Rulings:
    """The standing rulings, by the matter that they answer."""

    def __init__(self, heads: Iterable[Entry]) -> None:
        self._answers: dict[str, list[Ruling]] = defaultdict(list)
        for entry in heads:
            if (ruling := as_ruling(entry)) is not None:
                self._answers[matter_id(ruling.matter, ruling.of)].append(ruling)

    def on(self, kind: str, of: Sequence[str]) -> Ruling | None:
        """The ruling on that matter. None where there is none, or where two answer differently: then none applies."""
        answers = self._answers.get(matter_id(kind, of), [])
        return answers[0] if len({_said(ruling) for ruling in answers}) == 1 else None

    def that_differ(self) -> list[tuple[Ruling, ...]]:
        """Sets of standing rulings that answer one matter differently."""
        return [tuple(found) for found in self._answers.values() if len({_said(ruling) for ruling in found}) > 1]


def as_ruling(entry: Entry) -> Ruling | None:
    """The ruling that an entry gives; None where it is of another kind or not as documented."""
    values = entry.values
    of = values.get("of")
    if entry.kind != "ruling" or not isinstance(of, list) or not all(isinstance(name, str) for name in of):
        return None
    kind, answer = values.get("matter"), values.get("answer")
    if not isinstance(kind, str) or not isinstance(answer, str):
        return None
    keys = {name: value for name, value in values.items() if name not in ("matter", "of", "answer", "why")}
    return Ruling(entry.digest, kind, tuple(sorted(of)), answer, keys)


def _said(ruling: Ruling) -> bytes:
    return canonical([ruling.answer, dict(ruling.keys)])
