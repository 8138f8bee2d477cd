"""The sites, plots, genotypes and corals that a sheet speaks of: known to the base already, or new and to be entered. Pure.

What one row says of a coral for good must not contradict an earlier row: the later one is refused and names the earlier.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from collections.abc import Mapping as Map
from dataclasses import dataclass, field
from typing import Any, Protocol

from fieldkit.ledger import derived_id
from fieldkit.register.names import folded
from fieldkit.register.sheets.days import Day
from fieldkit.register.sheets.lines import Line

Said = tuple[str, dict[str, Any]]
"""An entry to be: its kind and values."""


class Names(Protocol):
    """What the base already knows, by name (compared folded): the id of the thing that stands, or None."""

    def site(self, name: str, /) -> str | None: ...

    def plot(self, site: str, name: str, /) -> str | None: ...

    def genotype(self, accession: str, /) -> str | None: ...

    def coral(self, plot: str, /, *, tag: str | None, position: str | None) -> str | None:
        """The coral of that plot with this tag; where there is no tag, the one at this position."""

    def tags(self, plot: str, /) -> Collection[str]:
        """The tags that corals of that plot wear or wore."""

    def planting(self, plot: str, genotype: str, day: str, /) -> str | None:
        """The row of the planting that put corals of this genotype into a counted plot on that day (ISO 8601)."""


@dataclass(slots=True, eq=False)
class Thing:
    """A site, plot, genotype, coral or planted group.

    Attributes:
        is_new: whether this import enters it.
        row: the first row that speaks of it.
        values: what its entry says in any case.
        facts: what rows say of it, each with the first row that did.
    """

    id: str
    is_new: bool
    row: int
    values: Map[str, Any]
    facts: dict[str, tuple[Any, int]] = field(default_factory=dict)
    tag: str | None = None
    first_seen: str | None = None

    @property
    def planted_on(self) -> Day | None:
        return self.facts["planted_on"][0] if "planted_on" in self.facts else None

    def learn(self, facts: Map[str, Any], row: int) -> None:
        for name, value in facts.items():
            self.facts.setdefault(name, (value, row))

    def said(self) -> dict[str, Any]:
        """What its entry says of it."""
        values = dict(self.values)
        for name, (value, _) in self.facts.items():
            values[name] = value.day.isoformat() if isinstance(value, Day) else value
            if name == "planted_on":
                values["precision"] = value.precision
        return values


@dataclass(frozen=True, slots=True)
class Placed:
    """A line that is taken, and the coral or counted group that it speaks of, which observations name by `named`."""

    line: Line
    site: str
    plot: str
    thing: Thing
    named: Map[str, str]


@dataclass(frozen=True, slots=True)
class _Spoken:
    """The things that a line names, by key; not kept before the line is taken."""

    site: tuple[str, Thing]
    plot: tuple[tuple[str, str], Thing]
    genotype: tuple[str, Thing] | None


class Things:
    """Everything that the lines so far speak of. Grows line by line, through `coral_of` and `group_of`."""

    def __init__(self, digest: str, names: Names) -> None:
        self._digest = digest
        self._names = names
        self._sites: dict[str, Thing] = {}
        self._plots: dict[tuple[str, str], Thing] = {}
        self._genotypes: dict[str, Thing] = {}
        self._tagged: dict[tuple[str, str], Thing] = {}
        self._at: dict[tuple[str, str], list[Thing]] = {}
        self.corals: list[Thing] = []
        self.groups: dict[tuple[str, str, str], Thing] = {}

    def coral_of(self, line: Line) -> Placed | None:
        """Which coral a line speaks of; None where the line contradicts others and was refused.

        Lines with a tag must come before those without: a position alone is the coral that another row places there.
        """
        spoken = self._spoken(line, "tagged")
        plot = spoken.plot[1].id
        coral = self._with_tag(plot, line) if line.tag is not None else self._without_tag(plot, line)
        facts = dict(line.facts)
        if spoken.genotype is not None:
            facts["genotype"] = spoken.genotype[1].id
        if coral is None or self._contradicted(line, coral, facts, spoken):
            return None
        self._keep(line, spoken)
        coral.learn(facts, line.row)
        self._keep_coral(plot, line, coral)
        return Placed(line, spoken.site[1].id, plot, coral, {"coral": coral.id})

    def group_of(self, line: Line) -> Placed | None:
        """Which planted group a line of counts speaks of; None where the line contradicts others and was refused."""
        spoken = self._spoken(line, "counted")
        if spoken.genotype is None or line.planted_on is None:
            return None  # such a line was refused when it was read
        key = (spoken.plot[1].id, spoken.genotype[1].id, line.planted_on.day.isoformat())
        group = self.groups.get(key) or self._thing(
            ("planting", *key), self._names.planting(*key), line.row, {"plot": key[0], "genotype": key[1]}
        )
        facts = {"planted_on": line.planted_on, **({} if line.planted is None else {"planted": line.planted})}
        if self._contradicted(line, group, facts, spoken):
            return None
        self._keep(line, spoken)
        group.learn(facts, line.row)
        self.groups.setdefault(key, group)
        return Placed(line, spoken.site[1].id, key[0], group, {"genotype": key[1]})

    def said(self) -> Iterator[Said]:
        """The entries for sites, plots, genotypes, corals and tags that the base does not know yet."""
        named = {"site": self._sites.values(), "plot": self._plots.values(), "genotype": self._genotypes.values()}
        for kind, things in {**named, "coral": self.corals}.items():
            yield from ((kind, {kind: thing.id, **thing.said()}) for thing in things if thing.is_new)
        for coral in self.corals:
            if coral.is_new and coral.tag is not None:
                since = coral.planted_on.day.isoformat() if coral.planted_on else coral.first_seen
                yield "tag", {"coral": coral.id, "tag": coral.tag, **({"from": since} if since else {})}

    def _thing(self, key: tuple[str, ...], known: str | None, row: int, values: Map[str, Any]) -> Thing:
        made = derived_id("import", self._digest, *key)
        # What this very import made on an earlier run is made again, so that every run gives the same entries.
        return Thing(known or made, known in (None, made), row, values)

    def _spoken(self, line: Line, recorded_as: str) -> _Spoken:
        key = folded(line.site)
        site = self._sites.get(key) or self._thing(("site", key), self._names.site(line.site), line.row, {"name": line.site})
        place = (site.id, folded(line.plot))
        values = {"site": site.id, "name": line.plot, "recorded_as": recorded_as}
        plot = self._plots.get(place) or self._thing(("plot", *place), self._names.plot(site.id, line.plot), line.row, values)
        return _Spoken((key, site), (place, plot), self._genotype(line))

    def _genotype(self, line: Line) -> tuple[str, Thing] | None:
        if line.genotype is None:
            return None
        key = folded(line.genotype)
        known = self._genotypes.get(key) or self._thing(
            ("genotype", key), self._names.genotype(line.genotype), line.row, {"accession": line.genotype}
        )
        return key, known

    def _with_tag(self, plot: str, line: Line) -> Thing:
        key = folded(line.tag or "")
        if (plot, key) in self._tagged:
            return self._tagged[plot, key]
        known = self._names.coral(plot, tag=line.tag, position=line.position)
        coral = self._thing(("coral", plot, "tag", key), known, line.row, {"plot": plot})
        coral.tag = line.tag
        return coral

    def _without_tag(self, plot: str, line: Line) -> Thing | None:
        key = folded(line.position or "")
        there = self._at.get((plot, key), [])
        if len(there) > 1:
            tags = ", ".join(coral.tag or "-" for coral in there)
            line.cells.refuse("position", "position_of_several", tags=tags)
            return None
        if there:
            return there[0]
        known = self._names.coral(plot, tag=None, position=line.position)
        return self._thing(("coral", plot, "position", key), known, line.row, {"plot": plot})

    def _contradicted(self, line: Line, thing: Thing, facts: Map[str, Any], spoken: _Spoken) -> bool:
        """Refuse a line that says other things of a coral, group or genotype than an earlier line."""
        before = len(line.cells.refused)
        for name, value in facts.items():
            _compare(line, thing, name, value)
        if spoken.genotype is not None and "species" in line.facts and "species" not in thing.facts:
            _compare(line, spoken.genotype[1], "species", line.facts["species"])
        return len(line.cells.refused) > before

    def _keep(self, line: Line, spoken: _Spoken) -> None:
        self._sites.setdefault(*spoken.site)
        self._plots.setdefault(*spoken.plot)
        if spoken.genotype is not None:
            genotype = self._genotypes.setdefault(*spoken.genotype)
            if "species" in line.facts:
                genotype.learn({"species": line.facts["species"]}, line.row)

    def _keep_coral(self, plot: str, line: Line, coral: Thing) -> None:
        if line.tag is not None:
            key = (plot, folded(line.tag))
            if key not in self._tagged:
                self._tagged[key] = coral
                self.corals.append(coral)
        if line.position is not None:
            there = self._at.setdefault((plot, folded(line.position)), [])
            if coral not in there:
                there.append(coral)
                if line.tag is None:
                    self.corals.append(coral)
        for seen in line.seen:
            day = seen.day.day.isoformat()
            coral.first_seen = min(day, coral.first_seen or day)


def _compare(line: Line, thing: Thing, name: str, value: Any) -> None:
    known, row = thing.facts.get(name, (value, 0))
    # A first size may be taken twice and differ a little; both stay as observations.
    if name != "size_cm" and _form(known) != _form(value):
        line.cells.refuse(name, "contradicts", row=row)


def _form(value: Any) -> Any:
    return folded(value) if isinstance(value, str) else value
