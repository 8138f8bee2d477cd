"""A boat day on which plots were handed in twice: the same slate typed by two people, a buddy who looked for himself, and the
same diver who looked again. Only the first are one slate."""

from __future__ import annotations

import random

from fieldkit.protocol import Protocol
from settling.misreads import misread
from settling.programme import Coral, Plot, Programme, Session, noted, programme, swum

MISTYPED = 0.01
"""Of the fields of a slate typed again, the share that is typed otherwise."""

Row = tuple[Coral, dict[str, str]]


def day_typed_twice(seed: int, rate: float, protocol: Protocol) -> tuple[Programme, set[frozenset[str]]]:
    """The day, and the pairs of sessions that are one slate. Sizes are read to the millimetre or more coarsely, by diver."""
    day = programme(seed, protocol)
    one_slate = set()
    for plot in day.plots:
        to_cm = (0.1, 0.5, 1.0)[plot.number % 3]
        first = day.dive(plot, f"first {plot.number}")
        rows = _rows(day.dice, plot, rate, to_cm)
        _write(first, rows)
        second = plot.number // 3 % 4
        if second == 0:
            again = day.dive(plot, f"again {plot.number}", typed_by="NL")
            _write(again, [(coral, _typed_again(day.dice, row)) for coral, row in rows])
            one_slate.add(frozenset((first.id, again.id)))
        elif second in (1, 2):
            who = "BUDDY" if second == 1 else f"D{plot.device}"
            _write(day.dive(plot, f"other {plot.number}", recorder=who), _rows(day.dice, plot, rate, to_cm))
    return day, one_slate


def _rows(dice: random.Random, plot: Plot, rate: float, to_cm: float) -> list[Row]:
    found = []
    for coral in swum(dice, plot):
        tag = misread(dice, coral, plot.corals) if dice.random() < rate else coral.tag
        found.append((coral, {"tag": tag, **noted(dice, coral, to_cm=to_cm)}))
    return found


def _write(session: Session, rows: list[Row]) -> None:
    for line, (coral, row) in enumerate(rows, 1):
        session.say("observation", {"plot": coral.plot, "line": str(line), **row})


def _typed_again(dice: random.Random, row: dict[str, str]) -> dict[str, str]:
    return {name: _mistyped(dice, name, value) if dice.random() < MISTYPED else value for name, value in row.items()}


def _mistyped(dice: random.Random, name: str, value: str) -> str:
    if name == "status":
        return dice.choice(["alive", "dead", "missing"])
    place = dice.choice([i for i, glyph in enumerate(value) if glyph.isdigit()] or [0])
    return value[:place] + dice.choice("123456789") + value[place + 1 :]
