"""The corals behind a figure: each with its place, its interval, and why it is in none, so that any figure can be checked."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from fieldkit.base import View
from fieldkit.protocol import Protocol
from fieldkit.reports.columns import LABELS, Rows, everything
from fieldkit.reports.histories import FATES, WHYS, Flags, Places, Subjects
from fieldkit.reports.part import COLUMNS, FIGURES, Part, counted
from fieldkit.reports.question import Question

Why: TypeAlias = Literal["no_planting_day", "planted_later", "known_later"]


@dataclass(frozen=True)
class Behind:
    """One coral, or those of one genotype in a counted plot that have one interval.

    Attributes:
        coral: its id; None for corals of a counted plot.
        tag, position: what it is called; None where it has none, and in counted plots.
        labels: as figures are told by: site, plot, genotype …
        corals: how many of them the figure counts.
        fate: what was known of it last; None where a counted plot's corals differ in it.
        entry: the age from which it was followed, in days; 0 where from the planting.
        alive: the age at which it was last seen alive; None where it has no interval.
        lost: the age by which it was lost, missing counted as lost; None where it was not, or has no interval.
        dead: the same with missing left open.
        left_out: why it is in no figure, or in those of some estimates only; None where it is in all.
        disputed: whether its state is in dispute on some visit.
    """

    coral: str | None
    tag: str | None
    position: str | None
    labels: Mapping[str, str]
    corals: int
    fate: str | None
    entry: int
    alive: int | None
    lost: int | None
    dead: int | None
    left_out: str | None
    disputed: bool


@dataclass(frozen=True)
class Listed:
    """Some of the corals behind a figure, and how many there are in all."""

    rows: tuple[Behind, ...]
    subjects: int
    """Rows in all: a tagged coral each, or a genotype in a counted plot."""
    corals: int


def behind(
    view: View,
    question: Question | None = None,
    part: Part | None = None,
    *,
    rounds: Protocol | None = None,
    first: int = 0,
    most: int | None = None,
) -> Listed:
    """The corals behind a figure, by plot and tag.

    Args:
        question: whose corals, as of which day, by which estimate.
        part: which of them; none: all that were planted by the as-of day.
        rounds: the protocol whose rounds date deaths, where the estimate is "round".
        first, most: from which row on, and how many; None: all.
    """
    question, part = question or Question(), part or Part()
    rounds = rounds if question.estimate == "round" else None
    found = everything(view, question.as_of, rounds)
    numbers = np.rint(counted(view, found, question, rounds, part)).astype(np.int64)
    tagged = view.rows("SELECT id, tag, position FROM coral ORDER BY unit, id")
    order = _by_plot(found, tagged, np.flatnonzero(numbers))
    shown = order[first : None if most is None else first + most]
    return Listed(tuple(_told(found, tagged, shown, numbers)), order.size, int(numbers.sum()))


def _by_plot(found: Subjects, tagged: list[dict[str, str | None]], these: Places) -> Places:
    plots = found.labels.coded["plot"].code[these].tolist()

    def key(place: int) -> tuple[int, str]:
        subject = int(these[place])
        coral = tagged[subject] if subject < len(tagged) else {}
        return plots[place], _sorting(coral.get("tag") or coral.get("position") or "")

    return these[np.array(sorted(range(these.size), key=key), dtype=np.int64)]


def _sorting(name: str) -> str:
    """Numbers within names sort by their size: 9 before 10."""
    return "".join(part.zfill(9) if part.isdigit() else part for part in _parts(name))


def _parts(name: str) -> Iterator[str]:
    start = 0
    for i in range(1, len(name) + 1):
        if i == len(name) or name[i].isdigit() != name[start].isdigit():
            yield name[start:i]
            start = i


def _told(found: Subjects, tagged: list[dict[str, str | None]], these: Places, numbers: Places) -> Iterator[Behind]:
    lost, open_ = (_by_subject(found.rows[treatment, "settled"], these) for treatment in ("lost", "open"))
    labels = {name: found.labels.coded[name] for name in LABELS}
    for subject in these.tolist():
        coral = tagged[subject] if subject < len(tagged) else {}
        known = [name for name in FATES if found.fates[name][subject]]
        reason = str(found.left_out.names[found.left_out.code[subject]])
        mine, others = lost.get(subject, []), open_.get(subject, [])
        whole = len(mine) == 1 and len(others) == 1
        yield Behind(
            coral=coral.get("id"),
            tag=coral.get("tag"),
            position=coral.get("position"),
            labels={name: str(coded.names[coded.code[subject]]) for name, coded in labels.items()},
            corals=int(numbers[subject]),
            fate=known[0] if len(known) == 1 else None,
            entry=mine[0][2] if whole else 0,
            alive=mine[0][0] if whole else None,
            lost=mine[0][1] if whole else None,
            dead=others[0][1] if whole else None,
            left_out=reason or None,
            disputed=bool(found.disputed[subject]),
        )


def _by_subject(rows: Rows, these: Places) -> dict[int, list[tuple[int, int | None, int]]]:
    """Of each of these subjects its intervals: last seen alive, lost by, followed from."""
    mine: Flags = np.isin(rows.subject, these)
    intervals: dict[int, list[tuple[int, int | None, int]]] = {}
    columns = (rows.subject[mine], rows.left[mine], rows.right[mine], rows.entry[mine])
    for subject, left, right, entry in zip(*(column.tolist() for column in columns), strict=True):
        intervals.setdefault(subject, []).append((int(left), int(right) if np.isfinite(right) else None, int(entry)))
    return intervals


__all__ = ["COLUMNS", "FATES", "FIGURES", "WHYS", "Behind", "Listed", "Part", "behind"]
