"""How the programme began: the protocols it adopted, its register, the nursery stock, and the days of outplanting."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from typing import Any

from sample.dice import stream
from sample.log import Log
from sample.programme import (
    COUNTED_PER_GENOTYPE,
    FOUNDED,
    GENOTYPES,
    LAST_DAY,
    LEAD,
    PEOPLE,
    RING_OF_TEN_M2,
    SEED,
    SITES,
    TIME_ZONE,
    Coral,
    Plot,
    Site,
    identity,
    moment,
    plots,
)


@dataclass(frozen=True)
class Protocols:
    """The adopted protocol files: name in the programme's folder to bytes and digest."""

    outplanting: str
    monitoring: str
    nursery: str
    adopted: tuple[Mapping[str, Any], ...]


def lead_log(name: str, day: date, hour: int) -> Log:
    """A session of the lead at the base."""
    head = {"role": "lead", "day": str(day), "recorder": LEAD.initials, "typed_by": LEAD.initials}
    return Log(name, device=identity("device", "base"), opened_at=moment(day, hour), head=head)


def register(protocols: Protocols) -> Log:
    """The lead's first evening: protocols, people, permit, sites, plots, genotypes."""
    log = lead_log("register", FOUNDED.date(), 9)
    for protocol in protocols.adopted:
        log.say("protocol", protocol)
    for person in PEOPLE:
        consent = "yes" if person.consent else "no"
        log.say("person", {"person": identity("person", person.initials), "initials": person.initials, "consent": consent})
    log.say("permit", _permit())
    for site in SITES:
        log.say("site", _site(site))
    for genotype in GENOTYPES:
        log.say(
            "genotype",
            {
                "genotype": identity("genotype", genotype.accession),
                "accession": genotype.accession,
                "species": genotype.species,
                "provenance": genotype.provenance,
                "known_by": genotype.known_by,
            },
        )
    for plot in plots():
        log.say("plot", _plot(plot))
    log.close()
    return log


def nursery_stock(planted: Sequence[Coral]) -> Log:
    """What hung in the nursery before the first outplanting: a lot a genotype, more than enough of plantable size."""
    day = min(coral.planted_on for coral in planted) - timedelta(days=5)
    log = lead_log("nursery stock", day, 16)
    needed = Counter(coral.genotype.accession for coral in planted)
    for number, genotype in enumerate(GENOTYPES, start=1):
        ready = needed[genotype.accession] + 6
        log.say(
            "lot",
            {
                "lot": identity("lot", genotype.accession),
                "genotype": identity("genotype", genotype.accession),
                "structure": f"tree {number}",
                "count": str(ready + 9),
                "ready": str(ready),
                "day": str(day),
            },
        )
    log.close()
    return log


def outplantings(planted: Sequence[Coral], protocols: Protocols) -> Iterator[Log]:
    """The days of outplanting, in order: two teams a day, three plots each."""
    days = sorted({(coral.planted_on, coral.plot.site.code) for coral in planted})
    for day, code in days:
        there = [coral for coral in planted if (coral.planted_on, coral.plot.site.code) == (day, code)]
        numbers = sorted({coral.plot.number for coral in there})
        for team, device, recorder, buddy in ((0, "a", "KT", "RS"), (1, "b", "MO", "JV")):
            mine = numbers[team * 3 : team * 3 + 3]
            name = f"outplanting {code} {day} team {team + 1}"
            head = crew_head(protocols.outplanting, there[0].plot.site, day, recorder, buddy=buddy, dive=str(team + 1))
            log = Log(name, device=identity("device", device), opened_at=moment(day, 17, 10 * team), head=head)
            _plant(log, [coral for coral in there if coral.plot.number in mine])
            log.close()
            yield log


def crew_head(protocol: str, site: Site, day: date, recorder: str, *, buddy: str, dive: str) -> dict[str, Any]:
    """What the head of a crew's session says in every protocol."""
    return {
        "role": "crew",
        "protocol": protocol,
        "site": identity("site", site.code),
        "day": str(day),
        "recorder": recorder,
        "typed_by": recorder,
        "buddy": buddy,
        "dive": dive,
    }


def _plant(log: Log, planted: Sequence[Coral]) -> None:
    for plot, ring in groupby(planted, key=lambda coral: coral.plot):
        if plot.recorded_as == "counted":
            for accession in sorted({coral.genotype.accession for coral in ring}):
                log.say("planting", _group(log, plot, accession))
        else:
            for coral in ring:
                log.say("planting", _planting(coral))


def _planting(coral: Coral) -> dict[str, Any]:
    return {
        "row": identity("coral", coral.name),
        "plot": identity("plot", coral.plot.name),
        "tag": coral.tag,
        "position": str(coral.position),
        "genotype": identity("genotype", coral.genotype.accession),
        "lot": identity("lot", coral.genotype.accession),
        "points": str(coral.points),
        "size_cm": f"{coral.size_cm:g}",
        "method": coral.plot.method,
    }


def _group(log: Log, plot: Plot, accession: str) -> dict[str, Any]:
    return {
        "row": log.new_row(f"{plot.name} {accession}"),
        "plot": identity("plot", plot.name),
        "genotype": identity("genotype", accession),
        "lot": identity("lot", accession),
        "count": str(COUNTED_PER_GENOTYPE),
        "method": plot.method,
    }


def _permit() -> dict[str, Any]:
    return {
        "permit": identity("permit", "outplanting"),
        "number": "NKO-24-017",
        "holder": "Nuvelako Reef Gardeners",
        "from": "2024-09-01",
        "until": str(LAST_DAY.replace(year=LAST_DAY.year + 1)),
        "covers": "collection of fragments, nursery culture, outplanting and monitoring",
        "limits": {species.lower().replace(" ", "_"): "250" for species in sorted({g.species for g in GENOTYPES})},
    }


def _site(site: Site) -> dict[str, Any]:
    return {
        "site": identity("site", site.code),
        "name": site.name,
        "code": site.code,
        "latitude": site.latitude,
        "longitude": site.longitude,
        "uncertainty_m": "8",
        "position_from": "phone above the mooring",
        "time_zone": TIME_ZONE,
        "depth_m": site.depth_m,
        "habitat": site.habitat,
        "permit": identity("permit", "outplanting"),
    }


def _plot(plot: Plot) -> dict[str, Any]:
    dice = stream(SEED, "plot", plot.name)
    return {
        "plot": identity("plot", plot.name),
        "site": identity("site", plot.site.code),
        "name": plot.name,
        "recorded_as": plot.recorded_as,
        "followed": "yes" if plot.followed else "no",
        "shape": "ring",
        "area_m2": "1.5" if plot.recorded_as == "counted" else RING_OF_TEN_M2,
        "depth_m": f"{float(plot.site.depth_m) + dice.choice((-1, -0.5, 0, 0.5, 1)):g}",
        "substrate": dice.choice(("dead coral", "pavement", "rubble")),
        "marker": "steel pin with a yellow float",
        "landmark": "mooring",
        "bearing_deg": str(dice.randrange(0, 360, 5)),
        "distance_m": str(4 + 3 * plot.number),
    }
