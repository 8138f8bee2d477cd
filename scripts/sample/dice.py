"""Chance that can be thrown again: every stream of numbers and every id follows from the seed and a name.

Each thing (a coral's death, a diver's reading of it) has a stream of its own, so that adding one thing leaves the luck of
all others as it was. `random.Random` seeded by a text gives the same numbers on every machine.
"""

from __future__ import annotations

import random
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import TypeVar

from fieldkit.ledger import new_id

T = TypeVar("T")


def stream(seed: int, *names: object) -> random.Random:
    """The stream of numbers that belongs to these names under this seed."""
    return random.Random("/".join([str(seed), *map(str, names)]))


def pick(dice: random.Random, chances: Mapping[T, float]) -> T:
    """One of the keys, each as likely as its weight says."""
    return dice.choices(list(chances), weights=list(chances.values()))[0]


def milliseconds(moment: datetime) -> int:
    """Milliseconds since 1970 UTC, as entries write them."""
    return int(moment.astimezone(UTC).timestamp()) * 1000


def name_of(seed: int, moment: datetime, *names: object) -> str:
    """The id of a thing, minted at `moment`: the same again for the same seed and names."""
    return new_id(milliseconds(moment), stream(seed, "id", *names).randbytes(10))
