"""What is planted where: the register as the standing entries give it. Pure.

A planting makes a coral (or, in a counted plot, adds to a group of one genotype); a lead's `coral` and `tag` entries add to
it and mend it. What several statements about one thing say is merged field by field; where two contradict each other the
value is unknown and its name stands in `disputed`.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from fieldkit.ledger import Entry
from fieldkit.ledger.fold import merged
from fieldkit.register.names import folded


@dataclass(frozen=True, slots=True)
class Worn:
    """A tag, and the days on which the coral wears it (ISO 8601; None: without end)."""

    tag: str
    since: str | None = None
    until: str | None = None

    def on(self, day: str | None) -> bool:
        """Whether it is worn that day; on a day that is not known it may be."""
        if day is None:
            return True
        return (self.since is None or self.since <= day) and (self.until is None or day <= self.until)

    def overlaps(self, other: Worn) -> bool:
        """Whether both are worn on some day."""
        return not (self._ends_before(other) or other._ends_before(self))

    def _ends_before(self, other: Worn) -> bool:
        return self.until is not None and other.since is not None and self.until < other.since


@dataclass(frozen=True, slots=True)
class Coral:
    """One outplanted coral, as the register knows it."""

    id: str
    values: Mapping[str, Any]
    """plot, position, genotype, species, method, lot, planted_on, precision, known_from, withdrawn_on, size_cm …"""
    tags: tuple[Worn, ...]
    disputed: tuple[str, ...]
    said_by: tuple[str, ...]
    """Digests of the entries that say so."""

    @property
    def plot(self) -> str | None:
        plot = self.values.get("plot")
        return plot if isinstance(plot, str) else None

    def wears(self, tag: str, day: str | None) -> bool:
        return any(worn.on(day) and folded(worn.tag) == folded(tag) for worn in self.tags)

    @property
    def tag(self) -> str | None:
        """The tag it got last."""
        return max(self.tags, key=lambda worn: (worn.since or "", worn.tag)).tag if self.tags else None

    @property
    def name(self) -> str:
        """What people call it: its tag, else its position in the plot."""
        return self.tag or str(self.values.get("position", ""))

    def is_there(self, day: str | None) -> bool:
        """Whether it stands in its plot that day, as far as is known: planted by then, and not yet taken away."""
        planted, withdrawn = (_day(self.values.get(name)) for name in ("planted_on", "withdrawn_on"))
        return day is None or ((planted is None or planted <= day) and (withdrawn is None or day <= withdrawn))


@dataclass(frozen=True, slots=True)
class Group:
    """The corals of one genotype in a counted plot."""

    plot: str
    genotype: str
    planted: tuple[tuple[str | None, int], ...]
    """Planting day and number, in order of days."""
    method: str | None
    said_by: tuple[str, ...]
    not_understood: tuple[str, ...] = ()
    """Digests of plantings whose number is none; they plant nobody until somebody mends them."""


def corals(heads: Iterable[Entry], days: Mapping[str, str | None]) -> dict[str, Coral]:
    """The corals that these entries speak of.

    Args:
        heads: standing entries of kinds planting, coral, tag and action; others are passed over.
        days: the day of each session, as settled.
    """
    planted: dict[str, list[Mapping[str, Any]]] = defaultdict(list)
    mended: dict[str, list[Mapping[str, Any]]] = defaultdict(list)
    tags: dict[str, set[Worn]] = defaultdict(set)
    tags_by_lead: dict[str, set[Worn]] = defaultdict(set)
    said_by: dict[str, list[str]] = defaultdict(list)
    for entry in heads:
        coral = _coral_named(entry)
        if coral is None:
            continue
        values, day = entry.values, days.get(entry.session)
        tag = values.get("tag") if isinstance(values.get("tag"), str) else None
        said_by[coral].append(entry.digest)
        if entry.kind == "planting":
            planted[coral].append(_planting(values, day))
        elif entry.kind == "coral":
            mended[coral].append({name: value for name, value in values.items() if name != "coral"})
        if entry.kind == "tag" and tag:
            tags_by_lead[coral].add(Worn(tag, _day(values.get("from")), _day(values.get("until"))))
        elif entry.kind in ("planting", "action") and tag:
            tags[coral].add(Worn(tag, day))
    return {
        coral: _coral(coral, planted[coral], mended[coral], _worn(tags[coral], tags_by_lead[coral]), said_by[coral])
        for coral in sorted(said_by)
        if coral in planted or coral in mended
    }


def groups(heads: Iterable[Entry], days: Mapping[str, str | None]) -> dict[tuple[str, str], Group]:
    """The counted groups that these plantings make, by plot and genotype."""
    found: dict[tuple[str, str], list[Entry]] = defaultdict(list)
    for entry in heads:
        if entry.kind == "planting" and "count" in entry.values:
            found[entry.values.get("plot", ""), entry.values.get("genotype", "")].append(entry)
    return {key: _group(*key, made, days) for key, made in sorted(found.items())}


def _group(plot: str, genotype: str, made: list[Entry], days: Mapping[str, str | None]) -> Group:
    counts = [(days.get(entry.session), number) for entry in made if (number := _whole(entry.values["count"])) is not None]
    return Group(
        plot,
        genotype,
        tuple(sorted(counts, key=lambda count: (count[0] or "", count[1]))),
        merged([{"method": entry.values["method"]} for entry in made if "method" in entry.values])[0].get("method"),
        tuple(sorted(entry.digest for entry in made)),
        tuple(sorted(entry.digest for entry in made if _whole(entry.values["count"]) is None)),
    )


def _whole(count: Any) -> int | None:
    return int(count) if isinstance(count, str) and count.isascii() and count.isdecimal() and len(count) < 10 else None


def _coral_named(entry: Entry) -> str | None:
    """The coral that an entry of the register makes, mends or tags."""
    name = {"planting": "row", "coral": "coral", "tag": "coral", "action": "coral"}.get(entry.kind, "")
    coral = entry.values.get(name)
    is_group = entry.kind == "planting" and "count" in entry.values
    return coral if isinstance(coral, str) and not is_group else None


def _day(value: Any) -> str | None:
    return value if isinstance(value, str) else None


def _planting(values: Mapping[str, Any], day: str | None) -> dict[str, Any]:
    said = {name: value for name, value in values.items() if name not in ("row", "tag", "note")}
    return said if day is None else {**said, "planted_on": day}


def _worn(noted: set[Worn], by_lead: set[Worn]) -> set[Worn]:
    """All tags of a coral. What a lead says of a tag goes before what was noted when it was hung: it ends it, say."""
    mended = {folded(worn.tag) for worn in by_lead}
    return by_lead | {worn for worn in noted if folded(worn.tag) not in mended}


def _coral(
    coral: str, planted: list[Mapping[str, Any]], mended: list[Mapping[str, Any]], tags: set[Worn], said_by: list[str]
) -> Coral:
    """A lead's word on a coral goes before the planting's: it was said to mend it."""
    first, unsure = merged(planted)
    second, disputed = merged(mended)
    known = {**first, **second}
    unknown = {*disputed, *(name for name in unsure if name not in second)}
    values = {name: value for name, value in sorted(known.items()) if name not in unknown}
    worn = tuple(sorted(tags, key=lambda worn: (worn.since or "", worn.tag, worn.until or "")))
    return Coral(coral, values, worn, tuple(sorted(unknown)), tuple(sorted(said_by)))
