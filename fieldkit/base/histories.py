"""The histories of a unit's corals in few bytes, so that figures of a million corals need not read a million rows.

What is packed are columns of the table `coral`, kept and replaced together with its rows. The form is the same on every base:
the state is compared byte for byte.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import chain
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from fieldkit.base.rows import CoralRow

Whole: TypeAlias = NDArray[np.int32]

NONE = -1
"""Stands for an age that there is not."""

TEXTS = ("plot", "genotype", "species", "method", "planted_on", "fate", "left_out")
AGES = ("entry", "disputed", "left", "lost", "open")
ANSWERED = ("worst_left", "worst_lost", "worst_open", "best_left", "best_lost", "best_open")
"""Kept of corals in dispute alone: of the others they are what they are as settled."""

_WIDTH = len(TEXTS) + len(AGES)
_FORM = np.dtype("<i4")
_COLUMNS = tuple(CoralRow.__annotations__)


@dataclass(frozen=True, eq=False)
class Histories:
    """Columns of all tagged corals, in order of unit and id.

    Attributes:
        names: the texts that occur, each once, and first None, for what a coral does not have.
        texts: column to the place of each coral's text among the names, shape (corals,).
        ages: column to whole days (of `disputed`: 1 or 0) or NONE, shape (corals,).
        answered: column to ages of the corals in dispute, in their order.
    """

    names: tuple[str | None, ...]
    texts: Mapping[str, Whole]
    ages: Mapping[str, Whole]
    answered: Mapping[str, Whole]


def packed(corals: Iterable[tuple[Any, ...]]) -> Iterator[tuple[str, str, bytes, bytes]]:
    """A row (unit, names, told, answered) for each unit of these rows of the table `coral`."""
    of_unit: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for row in corals:
        coral = dict(zip(_COLUMNS, row, strict=True))
        of_unit[coral["unit"]].append(coral)
    for unit, its in of_unit.items():
        its.sort(key=lambda coral: str(coral["id"]))
        names = [None, *sorted({coral[name] for coral in its for name in TEXTS} - {None})]
        place = {name: i for i, name in enumerate(names)}
        told = [[place[coral[name]] for name in TEXTS] + _whole(coral, AGES) for coral in its]
        answered = [_whole(coral, ANSWERED) for coral in its if coral["disputed"]]
        yield unit, json.dumps(names, ensure_ascii=False), _bytes(told), _bytes(answered)


def unpacked(rows: Iterable[tuple[str, bytes, bytes]]) -> Histories:
    """All of what was packed, from (names, told, answered) of each unit, in the order given."""
    texts_of, sizes = [], []
    told, answered = bytearray(), bytearray()
    for names, one, other in rows:
        texts_of.append(names)
        sizes.append(len(one) // (_WIDTH * _FORM.itemsize))
        told += one
        answered += other
    of_unit = json.loads(f"[{','.join(texts_of)}]")  # at once: a call for each unit takes twice as long
    anywhere = list(chain.from_iterable(of_unit))  # the names of every unit, one unit after the other
    place = {name: number for number, name in enumerate(dict.fromkeys([None, *anywhere]))}
    places = np.fromiter(map(place.__getitem__, anywhere), np.int32, len(anywhere))
    start = np.repeat(np.cumsum([0, *map(len, of_unit)])[:-1], sizes)
    table = np.frombuffer(told, _FORM).reshape(-1, _WIDTH)
    texts = {name: places[start + code] for name, code in zip(TEXTS, table.T[: len(TEXTS)], strict=True)}
    ages = {name: np.array(days, dtype=np.int32) for name, days in zip(AGES, table.T[len(TEXTS) :], strict=True)}
    others = np.frombuffer(answered, _FORM).reshape(-1, len(ANSWERED)).astype(np.int32).T
    return Histories(tuple(place), texts, ages, dict(zip(ANSWERED, others, strict=True)))


def _whole(coral: Mapping[str, Any], columns: Iterable[str]) -> list[int]:
    return [NONE if coral[name] is None else int(coral[name]) for name in columns]


def _bytes(table: list[list[int]]) -> bytes:
    return np.array(table, dtype=_FORM).tobytes()
