"""Which coral each observation is of. Pure; nothing is guessed.

An observation names its coral, or a tag, or a position in a plot. A tag that no coral of the plot wears that day, or that
two wear, is a matter; so is a coral that one session read twice, since one of the two readings must be another coral's.
Only a ruling moves an observation, and every matter is found on what stood before its own ruling moved anything, so that
the ruling goes on applying to it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from typing import Any

from fieldkit.errors import Fault
from fieldkit.register.fold import Coral
from fieldkit.register.names import folded
from fieldkit.settle.matter import MOVES, Matter, Ruling, Rulings
from fieldkit.settle.reading import Reading


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
            ever = self._by_position.get((said.get("plot"), folded(position)), [])
            return [coral for coral in ever if coral.is_there(day)] or ever  # a place may be planted anew
        return []


class Placement:
    """Where the observations of tagged plots are: by their own words first, then as rulings move them."""

    def __init__(self, readings: Iterable[Reading], plots: Plots, rulings: Rulings) -> None:
        """`rulings` name no corals but those of the plots."""
        self._readings = sorted(readings, key=lambda reading: reading.digest)
        self._plots = plots
        self._rulings = rulings
        self._coral_of: dict[str, str] = {}
        self.set_aside: set[str] = set()
        self.matters: dict[str, Matter] = {}
        """By id: about tags, and whatever else moved an observation."""
        self._ask(self._by_words())
        self._ask_what_was_read_twice()

    @property
    def unsettled(self) -> set[str]:
        """Digests whose coral is in question."""
        open_ = {digest for matter in self.matters.values() if matter.is_open for digest in matter.of}
        return open_ - self.set_aside

    def settled(self) -> dict[str, str]:
        """Digest to coral, of every observation whose coral is not in question."""
        unsettled = self.unsettled
        return {digest: coral for digest, coral in self._coral_of.items() if digest not in unsettled}

    def move(self, matters: Iterable[Matter]) -> set[str]:
        """Let those rulings on these matters that move observations do so. Returns the corals that lost or gained one."""
        moving = (matter for matter in matters if (ruling := self._rulings.settling(matter)) and ruling.answer in MOVES)
        new = [matter for matter in moving if matter.id not in self.matters]
        if not new:
            return set()
        before = self.settled()
        self._ask(new)
        self._ask_what_was_read_twice()
        return {coral for _, coral in before.items() ^ self.settled().items()}

    def of_corals(self) -> dict[str, list[Reading]]:
        """The observations of each coral, as far as their coral is settled."""
        found: dict[str, list[Reading]] = defaultdict(list)
        settled = self.settled()
        for reading in self._readings:
            if reading.digest in settled:
                found[settled[reading.digest]].append(reading)
        return found

    def beside(self, digest: str) -> list[Reading]:
        """The rows before and after an observation on its slate."""
        reading, rows = self._slates[digest]
        place = rows.index(reading)
        return [*rows[max(place - 1, 0) : place], *rows[place + 1 : place + 2]]

    @cached_property
    def _slates(self) -> dict[str, tuple[Reading, list[Reading]]]:
        """Of each observation the rows that its session wrote of its plot, in the order of the slate."""
        rows: dict[tuple[str, str], list[Reading]] = defaultdict(list)
        for reading in sorted(self._readings, key=lambda reading: (reading.line, reading.digest)):
            rows[reading.dive.id, reading.unit].append(reading)
        return {reading.digest: (reading, rows[reading.dive.id, reading.unit]) for reading in self._readings}

    def _by_words(self) -> list[Matter]:
        matters = []
        for reading in self._readings:
            meant = self._plots.named(reading.said, str(reading.dive.day) if reading.dive.day else None)
            if len(meant) == 1:
                self._coral_of[reading.digest] = meant[0].id
            else:
                matters.append(_unknown(reading, meant))
        return matters

    def _ask_what_was_read_twice(self) -> None:
        """One session read a coral twice: at most one of the two is right, and nothing says which. A ruling may move a reading
        to where the session has one already: then that is asked in its turn; and again, where rulings led back to it."""
        twice = self._read_twice()
        while found := [matter for matter in twice if matter.id not in self.matters]:
            self._ask(found)
            twice = self._read_twice()
        self.matters |= {matter.id: matter for matter in twice}

    def _read_twice(self) -> list[Matter]:
        together: dict[tuple[str, str], list[Reading]] = defaultdict(list)
        for reading in self._readings:
            if coral := self._coral_of.get(reading.digest):
                together[reading.dive.id, coral].append(reading)
        twice = sorted((where, readings) for where, readings in together.items() if len(readings) > 1)
        return [_twice(readings, self._plots.by_id[coral]) for (_, coral), readings in twice]

    def _ask(self, matters: Iterable[Matter]) -> None:
        for matter in sorted(matters, key=lambda matter: matter.id):
            ruling = self._rulings.settling(matter)
            self.matters[matter.id] = self._rulings.asked(matter)
            if ruling is not None:
                self._follow(ruling)

    def _follow(self, ruling: Ruling) -> None:
        named = [ruling.observation] if ruling.observation else list(ruling.of)
        if ruling.answer == "place":
            self._coral_of[named[0]] = ruling.keys["coral"]
        elif ruling.answer == "swap":
            one, other = (self._coral_of.get(digest) for digest in ruling.of)
            self._coral_of |= {digest: coral for digest, coral in zip(ruling.of, (other, one), strict=True) if coral}
        else:
            self.set_aside |= set(named)
            for digest in named:
                self._coral_of.pop(digest, None)


def noted(said: Mapping[str, Any]) -> str:
    """What the slate calls the coral: its tag or position as noted."""
    return str(said.get("tag") or said.get("position") or "")


def _unknown(reading: Reading, meant: Sequence[Coral]) -> Matter:
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


def _twice(readings: Sequence[Reading], coral: Coral) -> Matter:
    return Matter(
        "tag",
        tuple(sorted(reading.digest for reading in readings)),
        Fault("settle.tag_twice", {"noted": noted(readings[0].said) or coral.name}),
        readings[0].unit,
        corals=(coral.id,),
        visit=readings[0].dive.visit,
        session=readings[0].dive.id,
        answers=("place", "set_aside"),
    )
