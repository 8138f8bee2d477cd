"""Which coral each observation is of. Pure; nothing is guessed.

An observation names its coral, or a tag, or a position in a plot. A tag that no coral of the plot wears that day, or that two wear,
is a matter; so is a coral that one session read twice, since one of the two readings must be another coral's. Only a ruling moves an
observation.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from fieldkit.errors import Fault
from fieldkit.register.fold import Coral
from fieldkit.register.names import folded
from fieldkit.settle.matter import Matter, Rulings
from fieldkit.settle.reading import Reading


@dataclass(frozen=True, slots=True)
class Placed:
    """Where the observations are."""

    coral_of: Mapping[str, str]
    """Digest to coral, of every observation that is of a known one."""
    unsettled: frozenset[str]
    """Digests whose coral is in question."""
    set_aside: frozenset[str]
    matters: tuple[Matter, ...]


class Plots:
    """The corals of some plots, to be found by what a slate calls them."""

    def __init__(self, corals: Iterable[Coral]) -> None:
        self.by_id = {coral.id: coral for coral in corals}
        self._by_tag: dict[tuple[str | None, str], list[Coral]] = defaultdict(list)
        self._by_position: dict[tuple[str | None, str], list[Coral]] = defaultdict(list)
        for coral in self.by_id.values():
            for tag in {folded(worn.tag) for worn in coral.tags}:
                self._by_tag[coral.plot, tag].append(coral)
            if isinstance(position := coral.values.get("position"), str):
                self._by_position[coral.plot, folded(position)].append(coral)

    def named(self, said: Mapping[str, Any], day: str | None) -> list[Coral]:
        """The corals that these words may mean, that day."""
        if "coral" in said:
            coral = self.by_id.get(said["coral"])
            return [coral] if coral else []
        if isinstance(tag := said.get("tag"), str):
            return [coral for coral in self._by_tag.get((said.get("plot"), folded(tag)), ()) if coral.wears(tag, day)]
        if isinstance(position := said.get("position"), str):
            return self._by_position.get((said.get("plot"), folded(position)), [])
        return []


def place(readings: Iterable[Reading], plots: Plots, rulings: Rulings) -> Placed:
    """Place observations of tagged plots.

    A matter is found on what the slates say, before any ruling moves an observation, so that the ruling goes on applying to it.
    """
    readings = list(readings)
    coral_of: dict[str, str] = {}
    matters: list[Matter] = []
    for reading in readings:
        meant = plots.named(reading.said, str(reading.dive.day) if reading.dive.day else None)
        if len(meant) == 1:
            coral_of[reading.digest] = meant[0].id
        else:
            matters.append(_unknown(reading, meant))
    matters += _read_twice(readings, coral_of)
    settled = [_with_ruling(matter, rulings, plots) for matter in matters]
    unsettled = {digest for matter in settled if matter.is_open for digest in matter.of}
    set_aside: set[str] = set()
    for matter in settled:
        _apply(matter, rulings, coral_of, set_aside)
    return Placed(
        {digest: coral for digest, coral in coral_of.items() if digest not in unsettled | set_aside},
        frozenset(unsettled - set_aside),
        frozenset(set_aside),
        tuple(settled),
    )


def noted(said: Mapping[str, Any]) -> str:
    """What the slate calls the coral: its tag or position as noted."""
    return str(said.get("tag") or said.get("position") or "")


def _unknown(reading: Reading, meant: list[Coral]) -> Matter:
    why = "tag_of_two" if meant else "tag_unknown" if noted(reading.said) else "coral_unknown"
    return Matter(
        "tag",
        (reading.digest,),
        Fault(f"settle.{why}", {"noted": noted(reading.said)}),
        reading.unit,
        corals=tuple(sorted(coral.id for coral in meant)),
        visit=reading.dive.visit,
        session=reading.dive.id,
        answers=("place", "set_aside"),
    )


def _read_twice(readings: list[Reading], coral_of: Mapping[str, str]) -> list[Matter]:
    """One session read a coral twice: at most one of the two is right, and nothing says which."""
    together: dict[tuple[str, str], list[Reading]] = defaultdict(list)
    for reading in readings:
        if reading.digest in coral_of:
            together[reading.dive.id, coral_of[reading.digest]].append(reading)
    return [
        Matter(
            "tag",
            tuple(sorted(reading.digest for reading in found)),
            Fault("settle.tag_twice", {"noted": noted(found[0].said)}),
            found[0].unit,
            corals=(coral,),
            visit=found[0].dive.visit,
            session=session,
            answers=("place", "set_aside"),
        )
        for (session, coral), found in together.items()
        if len(found) > 1
    ]


def _with_ruling(matter: Matter, rulings: Rulings, plots: Plots) -> Matter:
    ruling = rulings.on(matter.kind, matter.of)
    if ruling is None or ruling.answer not in matter.answers:
        return matter
    if ruling.answer == "place" and ruling.keys.get("coral") not in plots.by_id:
        return matter
    if len(matter.of) > 1 and ruling.keys.get("observation") not in matter.of:
        return matter  # of two readings it must say which one it speaks of
    return replace(matter, ruling=ruling.digest)


def _apply(matter: Matter, rulings: Rulings, coral_of: dict[str, str], set_aside: set[str]) -> None:
    ruling = rulings.on(matter.kind, matter.of) if not matter.is_open else None
    if ruling is None:
        return
    digest = ruling.keys.get("observation", matter.of[0])
    if ruling.answer == "set_aside":
        set_aside.add(digest)
        coral_of.pop(digest, None)
    else:
        coral_of[digest] = ruling.keys["coral"]
