"""Corals by tag, plot, genotype, site and fate, a page at a time: quick however many there are.

They stand in the order of sites, plots and tags. Which plots a page needs is told by counts alone; only their corals are read.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldkit.base import CoralRow, View
from fieldkit.ledger import is_id
from fieldkit.register.names import folded
from fieldkit.reports.matters import called

AT_ONCE = 50
ALIKE_AT_ONCE = 12
"""Corals on a page, and lookalikes beside them. Chosen by us."""

_DIGITS = re.compile(r"([0-9]+)")


@dataclass(frozen=True)
class Wanted:
    """What is looked for, in people's words; what is empty is left open. Names are compared as people mean them.

    Attributes:
        tag: as it is worn now or ever was, or its beginning; in one plot a position too; or a coral's id.
    """

    tag: str = ""
    plot: str = ""
    genotype: str = ""
    site: str = ""
    fate: str = ""


@dataclass(frozen=True)
class Listed:
    """One coral in a list."""

    id: str
    called: str
    tags: tuple[str, ...]
    """Every tag that it wears or wore, the latest last."""
    site: str
    plot: str
    position: str
    genotype: str
    species: str
    planted_on: str | None
    precision: str
    fate: str
    seen_on: str | None


@dataclass(frozen=True)
class Found:
    """A page of what was found, and corals whose tags may be taken for the one looked for."""

    total: int
    page: int
    pages: int
    corals: tuple[Listed, ...]
    alike: tuple[Listed, ...]


def find(view: View, wanted: Wanted, page: int = 1, *, at_once: int = AT_ONCE) -> Found:
    """The corals that are wanted. A page past the last is the last."""
    places = Places(view)
    where, names = _conditions(view, wanted, places)
    count_of = _tagged_by_plot(view, where, names) if wanted.tag else _by_plot(view, wanted, places)
    total = sum(count_of.values())
    pages = max(1, -(-total // at_once))
    page = min(max(page, 1), pages)
    skipped, plots = _plots_of_page(sorted(count_of, key=places.order), count_of, (page - 1) * at_once, at_once)
    some = "plot IN (SELECT value FROM json_each(?))" + (" OR plot IS NULL" if None in plots else "")
    rows = view.rows(f"SELECT id FROM coral WHERE {where} AND ({some})", *names, [plot for plot in plots if plot])
    corals = sorted(view.corals([row["id"] for row in rows]), key=lambda row: (places.order(row["plot"]), natural(called(row))))
    here = tuple(places.listed(row) for row in corals[skipped : skipped + at_once])
    return Found(total, page, pages, here, _alike(view, wanted, places))


def natural(text: str) -> list[tuple[int, str]]:
    """A key by which A2 stands before A10."""
    return [(int(part) if part.isascii() and part.isdigit() else -1, part) for part in _DIGITS.split(text)]


class Places:
    """Sites, plots and genotypes by id and by name."""

    def __init__(self, view: View) -> None:
        self.sites = {id_: str(said.get("name", id_)) for id_, said in view.things("site").items()}
        self.plots = view.things("plot")
        self.genotypes = view.things("genotype")

    def site(self, plot: str | None) -> str:
        return self.sites.get(str(self.plots.get(plot or "", {}).get("site")), "")

    def plot(self, plot: str | None) -> str:
        return str(self.plots.get(plot or "", {}).get("name", ""))

    def genotype(self, genotype: str | None) -> str:
        return str(self.genotypes.get(genotype or "", {}).get("accession", ""))

    def species(self, row: CoralRow) -> str:
        return str(self.genotypes.get(row["genotype"] or "", {}).get("species") or row["species"] or "")

    def order(self, plot: str | None) -> tuple[Any, ...]:
        return (plot is None, natural(self.site(plot)), natural(self.plot(plot)), plot or "")

    def plots_called(self, name: str, site: str) -> list[str]:
        """Ids of the plots of that name, or all, at the site of that name, or any."""
        return [
            id_
            for id_, said in self.plots.items()
            if (not name or folded(str(said.get("name", ""))) == folded(name))
            and (not site or folded(self.site(id_)) == folded(site))
        ]

    def genotypes_called(self, accession: str) -> list[str]:
        return [id_ for id_ in self.genotypes if folded(self.genotype(id_)) == folded(accession)]

    def listed(self, row: CoralRow) -> Listed:
        return Listed(
            id=row["id"],
            called=called(row),
            tags=tuple(str(tag) for tag, *_ in sorted(row["said"]["tags"], key=lambda worn: worn[1] or "")),
            site=self.site(row["plot"]),
            plot=self.plot(row["plot"]),
            position=row["position"] or "",
            genotype=self.genotype(row["genotype"]),
            species=self.species(row),
            planted_on=row["planted_on"],
            precision=row["precision"] or "day",
            fate=row["fate"],
            seen_on=row["seen_on"],
        )


def _conditions(view: View, wanted: Wanted, places: Places) -> tuple[str, list[Any]]:
    """The condition in SQL, and what stands in it."""
    told: list[tuple[str, Any]] = []
    if wanted.plot or wanted.site:
        plots = places.plots_called(wanted.plot, wanted.site)
        told.append(("plot IN (SELECT value FROM json_each(?))", plots))
    if wanted.genotype:
        told.append(("genotype IN (SELECT value FROM json_each(?))", places.genotypes_called(wanted.genotype)))
    if wanted.fate:
        told.append(("fate = ?", wanted.fate))
    if wanted.tag:
        told.append(("id IN (SELECT value FROM json_each(?))", sorted(_named(view, wanted, places))))
    return " AND ".join(condition for condition, _ in told) or "1", [names for _, names in told]


def _tagged_by_plot(view: View, where: str, names: Sequence[Any]) -> dict[str | None, int]:
    """How many of the corals that are wanted stand in each plot, where a tag tells which they may be."""
    rows = view.rows(f"SELECT plot, count(*) AS n FROM coral WHERE {where} GROUP BY +plot", *names)
    return {row["plot"]: row["n"] for row in rows}


def _by_plot(view: View, wanted: Wanted, places: Places) -> dict[str | None, int]:
    """The same where none does: by what is kept packed of all corals, since their rows are far too many to read."""
    kept = view.histories()
    place = {name: i for i, name in enumerate(kept.names)}
    chosen = np.ones(len(kept.texts["plot"]), dtype=np.bool_)
    asked = {"genotype": places.genotypes_called(wanted.genotype), "fate": [wanted.fate]}
    if wanted.plot or wanted.site:
        asked["plot"] = places.plots_called(wanted.plot, wanted.site)
    for name, values in asked.items():
        if name == "plot" or getattr(wanted, name):
            chosen &= np.isin(kept.texts[name], [place[value] for value in values if value in place])
    counts = np.bincount(kept.texts["plot"][chosen], minlength=len(kept.names))
    return {kept.names[i]: int(counts[i]) for i in np.flatnonzero(counts)}


def _named(view: View, wanted: Wanted, places: Places) -> set[str]:
    if is_id(wanted.tag):
        return {wanted.tag}
    if not folded(wanted.tag):
        return set()
    found = view.corals_tagged(wanted.tag)
    if wanted.plot:
        corals = (row for plot in places.plots_called(wanted.plot, wanted.site) for row in view.corals_of_plot(plot))
        found |= {row["id"] for row in corals if folded(row["position"] or "") == folded(wanted.tag)}
    return found or view.corals_tagged_from(wanted.tag)


def _alike(view: View, wanted: Wanted, places: Places) -> tuple[Listed, ...]:
    """Corals of another tag that may be taken for the one wanted."""
    if not folded(wanted.tag):
        return ()
    corals = view.corals(view.corals_tagged_alike(wanted.tag) - view.corals_tagged(wanted.tag))
    listed = sorted((places.listed(row) for row in corals), key=lambda one: natural(one.called))
    return tuple(listed[:ALIKE_AT_ONCE])


def _plots_of_page(
    plots: Sequence[str | None], count_of: Mapping[str | None, int], first: int, at_once: int
) -> tuple[int, Collection[str | None]]:
    """The plots on which a page falls, and how many of their corals stand before it."""
    passed, needed = 0, list[str | None]()
    before = first
    for plot in plots:
        if passed + count_of[plot] > first and passed < first + at_once:
            before = before if needed else first - passed
            needed.append(plot)
        passed += count_of[plot]
    return (before if needed else 0), needed
