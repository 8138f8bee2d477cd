"""The programme at a glance: how much there is of everything, what permits still allow, what the nursery lots still hold."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from fieldkit.base import View
from fieldkit.protocol.number import number, whole
from fieldkit.register.fields import REGISTER
from fieldkit.register.permits import Outplanted, PermitUse, covers, permit_use
from fieldkit.register.stock import Planted, Stock, counts, stock
from fieldkit.reports.programme.things import called, names_of, of_kind, story_of


@dataclass(frozen=True)
class Permit:
    """A permit and how much of it is used; `is_open`: the day looked at lies in its period."""

    id: str
    called: str
    values: Mapping[str, Any]
    use: PermitUse
    sites: tuple[str, ...]
    """Names of the sites that are planted under it."""
    is_open: bool


@dataclass(frozen=True)
class Lot:
    """A nursery lot and what is left of it; without a count nobody knows."""

    id: str
    called: str
    genotype: str
    stock: Stock | None


@dataclass(frozen=True)
class Overview:
    """How many things there are by kind, with the permits, lots and protocols in use."""

    counts: Mapping[str, int]
    corals: int
    permits: tuple[Permit, ...]
    lots: tuple[Lot, ...]
    protocols: tuple[tuple[str, str], ...]
    """Name and newest version of those adopted."""


def overview(view: View, today: str) -> Overview:
    """The programme as it stands.

    Args:
        today: the day by which permits are in force or not (ISO 8601).
    """
    return Overview(
        {kind: len(view.things(kind)) for kind in REGISTER},
        view.rows("SELECT count(*) AS n FROM coral")[0]["n"] + sum(row["planted"] for row in view.counted()),
        tuple(permits(view, today)),
        tuple(lots(view)),
        _protocols(view),
    )


def permits(view: View, today: str) -> list[Permit]:
    planted = planted_by_permit(view)
    sites = view.things("site")
    return [
        Permit(
            one.id,
            one.called,
            one.values,
            permit_use(one.values, planted.get(one.id, ())),
            tuple(sorted(called("site", id_, said) for id_, said in sites.items() if said.get("permit") == one.id)),
            covers(one.values, today),
        )
        for one in of_kind(view, "permit")
    ]


def planted_by_permit(view: View) -> dict[str, list[Outplanted]]:
    """What was planted at the sites that name a permit, by permit: tagged corals and those of counted plots."""
    permit_of_site = {id_: said.get("permit") for id_, said in view.things("site").items()}
    permit_of = {id_: permit_of_site.get(str(said.get("site"))) for id_, said in view.things("plot").items()}
    species = {id_: said.get("species") for id_, said in view.things("genotype").items()}
    tagged = view.rows(
        "SELECT plot, genotype, species, planted_on, count(*) AS n FROM coral GROUP BY plot, genotype, species, planted_on"
    )
    told = [(row["plot"], row["species"] or species.get(str(row["genotype"])), row["planted_on"], row["n"]) for row in tagged]
    told += [
        (entry.values.get("plot"), species.get(str(entry.values.get("genotype"))), day, whole(entry.values.get("count")) or 0)
        for entry, day in view.plantings_of_groups()
    ]
    found: dict[str, list[Outplanted]] = defaultdict(list)
    for plot, name, day, n in told:
        permit = permit_of.get(plot)
        if isinstance(permit, str):
            found[permit].append(Outplanted(name, day, n))
    return found


def lots(view: View) -> list[Lot]:
    planted = planted_by_lot(view)
    genotypes = names_of(view, "genotype")
    return [
        Lot(one.id, one.called, genotypes.get(str(one.values.get("genotype")), ""), lot_stock(view, one.id, planted))
        for one in of_kind(view, "lot")
    ]


def lot_stock(view: View, lot: str, planted: Mapping[str, list[Planted]] | None = None) -> Stock | None:
    """What is left of a lot; None where nobody has counted it."""
    said = [one.entry.values for one in story_of(view, "lot", lot).versions if not one.is_taking_back]
    return stock(counts(said), (planted_by_lot(view) if planted is None else planted).get(lot, ()))


def planted_by_lot(view: View) -> dict[str, list[Planted]]:
    """How many were planted of each lot on each day."""
    tagged = view.rows("SELECT json_extract(said, '$.values.lot') AS lot, planted_on, count(*) AS n FROM coral GROUP BY 1, 2")
    told: Iterable[tuple[Any, str | None, int]] = [
        *((row["lot"], row["planted_on"], row["n"]) for row in tagged),
        *((entry.values.get("lot"), day, whole(entry.values.get("count")) or 0) for entry, day in view.plantings_of_groups()),
    ]
    found: dict[str, list[Planted]] = defaultdict(list)
    for lot, day, n in told:
        if isinstance(lot, str):
            found[lot].append((day, n))
    return found


def _protocols(view: View) -> tuple[tuple[str, str], ...]:
    newest: dict[str, str] = {}
    for said in view.things("protocol").values():
        name, version = str(said.get("name", "")), str(said.get("version", ""))
        newest[name] = max(newest.get(name, ""), version, key=lambda text: number(text) or 0)
    return tuple(sorted(newest.items()))
