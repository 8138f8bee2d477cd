"""What a register knows once more entries have come to it: those of the tabs that were taken before. Pure."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from fieldkit.ledger import Entry
from fieldkit.register.names import folded
from fieldkit.register.sheets.things import Names


class Learnt:
    """`Names` of a base, and of entries that are still to be written to it."""

    def __init__(self, names: Names, entries: Iterable[Entry]) -> None:
        self._names = names
        self._ids: dict[tuple[str, ...], str] = {}
        self._tags: dict[str, list[str]] = {}
        self._plots: dict[str, str] = {}
        self._days: dict[str, str] = {}
        for entry in entries:
            self._learn(entry)

    def _learn(self, entry: Entry) -> None:
        said = entry.values
        if entry.kind == "session" and "day" in said:
            self._days[entry.session] = said["day"]
        elif entry.kind == "site":
            self._ids["site", folded(said["name"])] = said["site"]
        elif entry.kind == "plot":
            self._ids["plot", said["site"], folded(said["name"])] = said["plot"]
        elif entry.kind == "genotype":
            self._ids["genotype", folded(said["accession"])] = said["genotype"]
        elif entry.kind == "coral":
            self._plots[said["coral"]] = said["plot"]
            if "position" in said:
                self._ids["position", said["plot"], folded(said["position"])] = said["coral"]
        elif entry.kind == "tag":
            plot = self._plots[said["coral"]]
            self._ids["tag", plot, folded(said["tag"])] = said["coral"]
            self._tags.setdefault(plot, []).append(said["tag"])
        elif entry.kind == "planting":
            self._ids["planting", said["plot"], said["genotype"], self._days[entry.session]] = said["row"]

    def site(self, name: str, /) -> str | None:
        return self._ids.get(("site", folded(name))) or self._names.site(name)

    def plot(self, site: str, name: str, /) -> str | None:
        return self._ids.get(("plot", site, folded(name))) or self._names.plot(site, name)

    def genotype(self, accession: str, /) -> str | None:
        return self._ids.get(("genotype", folded(accession))) or self._names.genotype(accession)

    def coral(self, plot: str, /, *, tag: str | None, position: str | None) -> str | None:
        key = ("position", plot, folded(position or "")) if tag is None else ("tag", plot, folded(tag))
        return self._ids.get(key) or self._names.coral(plot, tag=tag, position=position)

    def tags(self, plot: str, /) -> Collection[str]:
        return (*self._tags.get(plot, ()), *self._names.tags(plot))

    def planting(self, plot: str, genotype: str, day: str, /) -> str | None:
        return self._ids.get(("planting", plot, genotype, day)) or self._names.planting(plot, genotype, day)
