"""A matter: something only a person can settle; and the rulings that settle it. Pure.

A matter is named by what it is about, so that every base that sees the same observations asks the same question under the
same id. A ruling lies over the observations that it names and replaces none. It applies while exactly those are present: a
late observation opens the matter again and leaves the old ruling as a suggestion.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from fieldkit.errors import Fault
from fieldkit.ledger import Entry, canonical, sha256

MOVES = ("place", "swap", "set_aside")
"""The answers that move observations to another coral, or out of all figures."""


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
    """Name of a field to digest to value, where observations differ; without values where one is wanted that nobody noted."""
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

    @property
    def observation(self) -> str | None:
        """The one observation that it speaks of; None where it names none, or one that the matter is not about."""
        named = self.keys.get("observation")
        if named is None and len(self.of) == 1:
            return self.of[0]
        return named if named in self.of else None

    @property
    def fields(self) -> Mapping[str, Any]:
        """The values that count, by field; empty where it gives none."""
        fields = self.keys.get("fields")
        return fields if isinstance(fields, dict) else {}


class Rulings:
    """The standing rulings, by the matter that they answer."""

    def __init__(self, heads: Iterable[Entry]) -> None:
        self._answers: dict[str, list[Ruling]] = defaultdict(list)
        for entry in heads:
            if (ruling := as_ruling(entry)) is not None:
                self._answers[matter_id(ruling.matter, ruling.of)].append(ruling)

    def among(self, corals: Container[str]) -> Rulings:
        """Without those that place an observation on a coral that is none of these."""
        kept = Rulings(())
        for id_, answers in self._answers.items():
            kept._answers[id_] = [one for one in answers if one.answer != "place" or one.keys.get("coral") in corals]
        return kept

    def on(self, kind: str, of: Sequence[str]) -> Ruling | None:
        """The ruling on that matter. None where there is none, or where two answer differently: then none applies."""
        answers = self._answers.get(matter_id(kind, of), [])
        agree = len({_said(ruling) for ruling in answers}) == 1
        return min(answers, key=lambda ruling: ruling.digest) if agree else None

    def settling(self, matter: Matter) -> Ruling | None:
        """The ruling on a matter; None where it gives no answer that the matter takes, or says too little."""
        ruling = self.on(matter.kind, matter.of)
        return ruling if ruling and _fits(ruling, matter) else None

    def asked(self, matter: Matter) -> Matter:
        """The matter as it stands: settled, where a ruling settles it."""
        ruling = self.settling(matter)
        return replace(matter, ruling=ruling.digest) if ruling else matter

    def asked_in_place(self, matter: Matter) -> Matter:
        """The matter as it stands where nothing is moved any more: had a ruling moved it away, it would not be asked."""
        asked, ruling = self.asked(matter), self.settling(matter)
        return matter if ruling and ruling.answer in MOVES else asked

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


def _fits(ruling: Ruling, matter: Matter) -> bool:
    must_name_one = ruling.answer == "place" or "observation" in ruling.keys
    return ruling.answer in matter.answers and (ruling.observation is not None or not must_name_one)


def _said(ruling: Ruling) -> bytes:
    return canonical([ruling.answer, dict(ruling.keys)])
