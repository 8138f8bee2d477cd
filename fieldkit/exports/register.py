"""What the register knows: sites, plots, genotypes, lots of the nursery, events."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from fieldkit.exports.places import position
from fieldkit.exports.programme import Programme, text_of
from fieldkit.exports.table import Row, Table, columns
from fieldkit.protocol import number
from fieldkit.protocol.number import whole
from fieldkit.settle.calendar import day_of


def sites(programme: Programme) -> Table:
    """A row each site, with its position as exactly as the scope tells it."""

    def rows() -> Iterator[Row]:
        for site in _by_name(programme.sites_here):
            where = position(site, programme.scope.places)
            yield {
                "site": text_of(site.get("name")),
                "code": text_of(site.get("code")),
                "latitude": where.latitude if where else None,
                "longitude": where.longitude if where else None,
                "uncertainty_m": where.uncertainty_m if where else None,
                "rounded_to": where.grain if where and where.grain != "exact" else None,
                "depth_m": number(site.get("depth_m")),
                "habitat": text_of(site.get("habitat")),
                "time_zone": text_of(site.get("time_zone")),
                "note": programme.words(site.get("note")),
            }

    return Table(
        "sites",
        columns(
            *("site", "code", ("latitude", "number", "deg"), ("longitude", "number", "deg"), ("uncertainty_m", "whole", "m")),
            *("rounded_to", ("depth_m", "number", "m"), "habitat", "time_zone", "note"),
        ),
        rows,
    )


_FINDS = ("marker", "landmark", "bearing_deg", "distance_m")
"""What leads a boat to a plot: told only where places are told exactly."""


def plots(programme: Programme) -> Table:
    """A row each plot."""

    def rows() -> Iterator[Row]:
        exact = programme.scope.places == "exact"
        for plot in _by_name(programme.plots_here):
            found = {name: plot.get(name) for name in _FINDS if exact}
            yield {
                "site": str(programme.sites.get(str(plot.get("site")), {}).get("name", "")),
                "plot": text_of(plot.get("name")),
                **{name: text_of(plot.get(name)) for name in ("recorded_as", "followed", "shape", "substrate")},
                **{name: text_of(found.get(name)) for name in ("marker", "landmark")},
                **{name: number(found.get(name)) for name in ("bearing_deg", "distance_m")},
                **{name: number(plot.get(name)) for name in ("area_m2", "depth_m")},
                "note": programme.words(plot.get("note")),
            }

    return Table(
        "plots",
        columns(
            *("site", "plot", "recorded_as", "followed", "shape", ("area_m2", "number", "m2"), ("depth_m", "number", "m")),
            *("substrate", "marker", "landmark", ("bearing_deg", "number", "deg"), ("distance_m", "number", "m"), "note"),
        ),
        rows,
    )


def genotypes(programme: Programme) -> Table:
    """A row each genotype."""
    names = ("species", "species_id", "provenance", "known_by", "genet")

    def rows() -> Iterator[Row]:
        for one in sorted(programme.genotypes_here.values(), key=lambda said: str(said.get("accession", ""))):
            said = {name: text_of(one.get(name)) for name in names}
            yield {"genotype": text_of(one.get("accession")), **said, "note": programme.words(one.get("note"))}

    return Table("genotypes", columns("genotype", *names, "note"), rows)


def lots(programme: Programme) -> Table:
    """A row each lot of the nursery."""

    def rows() -> Iterator[Row]:
        for id_, lot in sorted(programme.view.things("lot").items()):
            day = text_of(lot.get("day"))
            if lot.get("genotype") in programme.genotypes_here and programme.scope.holds(day):
                numbers = {"fragments": whole(lot.get("count")), "ready": whole(lot.get("ready"))}
                genotype = programme.accession(text_of(lot.get("genotype")))
                yield {"lot": id_, "genotype": genotype, "structure": text_of(lot.get("structure")), **numbers,
                       "counted_on": day_of(day)}  # fmt: skip

    return Table(
        "lots",
        columns("lot", "genotype", "structure", ("fragments", "whole", "1"), ("ready", "whole", "1"), ("counted_on", "day")),
        rows,
    )


def events(programme: Programme) -> Table:
    """A row each event and site that it touched."""

    def rows() -> Iterator[Row]:
        for id_, event in sorted(programme.view.things("event").items()):
            touched = event.get("sites")
            for site in touched if isinstance(touched, list) else []:
                if site in programme.sites_here and programme.scope.holds(text_of(event.get("from"))):
                    yield {
                        "event": id_,
                        "what": text_of(event.get("what")),
                        "from": day_of(event.get("from")),
                        "until": day_of(event.get("until")),
                        "site": str(programme.sites[site].get("name", "")),
                    }

    return Table("events", columns("event", "what", ("from", "day"), ("until", "day"), "site"), rows)


def _by_name(things: Mapping[str, Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    return sorted(things.values(), key=lambda said: str(said.get("name", "")))
