"""Which corals need a hand, from what was noted of each last, and which of that was done since. Pure.

The protocol says which value asks for which hand. Of each field what was noted last counts: a visit that did not look at it
says nothing. What was done on that day or later closes it, and a later visit that finds the same opens it again.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fieldkit.protocol import Protocol

DONE: Mapping[str, str] = {
    "reattach": "reattached",
    "remove_predators": "predators removed",
    "clean": "cleaned",
    "new_tag": "new tag",
}
"""The hands that somebody can give, and what an action's entry calls them when they were given. `work_last` is no work: it
says when to go, and ends when a visit finds the coral sound."""

Asks = Mapping[str, Mapping[str, tuple[str, ...]]]
"""Field to value to hands."""


@dataclass(frozen=True, slots=True)
class Seen:
    """What was settled of a coral on a visit; `day` ISO 8601, `values` under the names of the protocol in force."""

    day: str
    state: str
    values: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Tended:
    """Something that was done to a coral, or to all of its plot."""

    done: str
    day: str


@dataclass(frozen=True, slots=True)
class Need:
    """A hand that a coral needs: the newest day on which that was seen, and what was noted, pairs of field and value."""

    hand: str
    day: str
    noted: tuple[tuple[str, str], ...]


def asks_of(protocol: Protocol) -> dict[str, dict[str, tuple[str, ...]]]:
    """Which values of which fields of a coral ask for which hands."""
    told = {
        one.name: {choice.value: choice.asks for choice in one.values if choice.asks} for one in protocol.fields_of("coral")
    }
    return {name: values for name, values in told.items() if values}


def needs(seen: Sequence[Seen], asks: Asks, tended: Iterable[Tended] = ()) -> list[Need]:
    """What one coral needs; nothing where it was not seen alive last.

    Args:
        seen: its visits, in order of days.
        tended: what was done to it and to its plot.
    """
    if not seen or seen[-1].state != "alive":
        return []
    done = [(one.done, one.day) for one in tended]
    found: dict[str, list[tuple[str, str, str]]] = {}
    for name, values in asks.items():
        newest = next((one for one in reversed(seen) if name in one.values), None)
        for value in _held(newest.values[name]) if newest else ():
            for hand in values.get(value, ()):
                if not any(what == DONE.get(hand) and day >= newest.day for what, day in done):  # type: ignore[union-attr]
                    found.setdefault(hand, []).append((newest.day, name, value))  # type: ignore[union-attr]
    return [
        Need(hand, max(day for day, *_ in noted), tuple((name, value) for _, name, value in noted))
        for hand, noted in found.items()
    ]


def _held(value: Any) -> list[str]:
    """The values that a field holds: a choice one, choices each of theirs, a tally what it counts at least once."""
    if isinstance(value, str):
        return [value]
    if isinstance(value, Mapping):
        return [name for name, count in value.items() if str(count).strip("0.,")]
    return [str(one) for one in value] if isinstance(value, (list, tuple)) else []
