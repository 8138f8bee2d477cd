"""What a programme saw, as events, occurrences and measurements.

An event is a site on a visit, and within it each plot. An occurrence is one coral on one visit, as settled: alive or dead it is
`present`, with its vitality. A missing coral says nothing of whether its kind is there, so it is no absence but a count of its
plot, "outplants not found". What is in dispute, or of no known species, is left out and counted.
"""

from __future__ import annotations

import base64
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from fieldkit import messages
from fieldkit.exports.corals import COUNTED
from fieldkit.exports.darwin_core.terms import unit_uri
from fieldkit.exports.noted import photos
from fieldkit.exports.places import position
from fieldkit.exports.programme import Programme
from fieldkit.protocol import Field, number

Record = dict[str, str]

NOT_FOUND = "outplants not found"
GENOTYPE, METHOD = "genotype", "outplanting method"
VISIT, PLOT_AT_VISIT = "Site Visit", "Sample"


@dataclass
class Records:
    """The rows of the three files, by term; and what was left out of them, by reason (`unsettled`, `no_species`)."""

    events: list[Record] = field(default_factory=list)
    occurrences: list[Record] = field(default_factory=list)
    measurements: list[Record] = field(default_factory=list)
    left_out: Counter[str] = field(default_factory=Counter)


def records(programme: Programme) -> Records:
    """All of it, in the order of visits, plots and corals."""
    found = Records()
    days: dict[tuple[str, str], set[str]] = defaultdict(set)
    rows: dict[tuple[str, str], Counter[str]] = defaultdict(Counter)
    shown = _photos(programme)
    for coral, seen in programme.seen():
        if seen["state"] is None or seen["day"] is None:
            found.left_out["unsettled"] += 1
            continue
        at = (str(coral["plot"]), seen["visit"])
        days[at].add(seen["day"])
        rows[at]["rows"] += 1
        if seen["state"] == "missing":
            rows[at]["missing"] += 1
        elif species := programme.species(coral):
            _add_coral(found, programme, coral, seen, species, shown)
        else:
            found.left_out["no_species"] += 1
    _add_counted(found, programme, days, rows)
    _add_events(found, programme, days, rows)
    return found


def _add_coral(
    found: Records,
    programme: Programme,
    coral: Mapping[str, Any],
    seen: Mapping[str, Any],
    species: str,
    shown: Mapping[str, list[str]],
) -> None:
    event, id_ = _event_id(str(coral["plot"]), seen["visit"]), f"{coral['id']}/{seen['visit']}"
    genotype = programme.genotypes.get(coral["genotype"] or "", {})
    digests = seen["said"]["digests"]
    found.occurrences.append(
        {
            "eventID": event,
            "occurrenceID": id_,
            "organismID": coral["id"],
            "recordNumber": coral["tag"] or coral["position"] or "",
            "scientificName": species,
            "scientificNameID": str(genotype.get("species_id") or ""),
            "occurrenceStatus": "present",
            "vitality": seen["state"],
            "basisOfRecord": "HumanObservation",
            "recordedBy": " | ".join(dict.fromkeys(filter(None, (programme.recorder_of(digest) for digest in digests)))),
            "associatedMedia": " | ".join(photo for digest in digests for photo in shown.get(digest, ())),
        }
    )
    of = {"eventID": event, "occurrenceID": id_}
    if accession := programme.accession(coral["genotype"]):
        found.measurements.append(of | {"measurementType": GENOTYPE, "measurementValue": accession})
    if coral["method"]:
        found.measurements.append(of | {"measurementType": METHOD, "measurementValue": coral["method"]})
    fields, method = programme.observed_fields
    for name, value in seen["said"]["values"].items():
        known = fields.get(name)
        if known is None or known.role != "status":
            found.measurements += [of | one | {"measurementMethod": method} for one in _measured(name, known, value)]


def _measured(name: str, of: Field | None, value: Any) -> Iterator[Record]:
    """A row each value; of what is counted, a row each thing that was."""
    term, unit = (of.term or name, of.unit or "") if of else (name, "")
    if isinstance(value, Mapping):
        for one, count in value.items():
            yield {"measurementType": f"{term}: {one}", "measurementValue": str(count)}
        return
    for one in value if isinstance(value, list) else [value]:
        measured = {"measurementType": term, "measurementValue": str(one)}
        yield measured | ({"measurementUnit": unit, "measurementUnitID": unit_uri(unit)} if unit not in ("", "1") else {})


def _add_counted(
    found: Records, programme: Programme, days: dict[tuple[str, str], set[str]], rows: dict[tuple[str, str], Counter[str]]
) -> None:
    """The genotypes of counted plots: the number alive and the number dead are an occurrence each."""
    for visit in programme.counted():
        plot, genotype, day, numbers = visit["unit"], visit["genotype"], visit["day"], visit["said"]["numbers"]
        if numbers is None:
            found.left_out["unsettled"] += 1
            continue
        said = programme.genotypes.get(genotype, {})
        counted = dict(zip(COUNTED, numbers, strict=True))
        at = (plot, day)
        days[at].add(day)
        rows[at]["missing"] += counted.pop("missing")
        for vitality, count in counted.items():
            rows[at]["rows"] += count
            if count and not said.get("species"):
                found.left_out["no_species"] += count
            elif count:
                event, id_ = _event_id(plot, day), f"{plot}/{genotype}/{day}/{vitality}"
                found.occurrences.append(
                    {
                        "eventID": event,
                        "occurrenceID": id_,
                        "scientificName": str(said["species"]),
                        "scientificNameID": str(said.get("species_id") or ""),
                        "occurrenceStatus": "present",
                        "vitality": vitality,
                        "individualCount": str(count),
                        "basisOfRecord": "HumanObservation",
                    }
                )
                genet = {"measurementType": GENOTYPE, "measurementValue": programme.accession(genotype)}
                found.measurements.append({"eventID": event, "occurrenceID": id_} | genet)


def _add_events(
    found: Records,
    programme: Programme,
    days: Mapping[tuple[str, str], set[str]],
    rows: Mapping[tuple[str, str], Counter[str]],
) -> None:
    of_visit: dict[tuple[str, str], set[str]] = defaultdict(set)
    for (plot, visit), on in days.items():
        of_visit[str(programme.plots.get(plot, {}).get("site", "")), visit] |= on
    for (site, visit), on in sorted(of_visit.items(), key=lambda item: (min(item[1]), item[0])):
        said = programme.sites.get(site, {})
        found.events.append(_place(programme, said, said) | _when(_event_id(site, visit), VISIT, on) | {"locationID": site})
        for (plot, at), those in sorted(days.items(), key=lambda item: (programme.label_of(item[0][0]), item[0])):
            its = programme.plots.get(plot, {})
            if at != visit or its.get("site") != site:
                continue
            event, counted = _event_id(plot, visit), rows[plot, visit]
            found.events.append(
                _place(programme, said, its)
                | _when(event, PLOT_AT_VISIT, those)
                | {"parentEventID": _event_id(site, visit), "locationID": plot, **_effort(its)}
            )
            if counted["missing"]:
                found.measurements.append(
                    {"eventID": event, "measurementType": NOT_FOUND, "measurementValue": str(counted["missing"])}
                )


def _event_id(place: str, visit: str) -> str:
    return f"{place}/{visit}"


def _when(event: str, kind: str, days: set[str]) -> Record:
    first, last = min(days), max(days)
    return {"eventID": event, "eventType": kind, "eventDate": first if first == last else f"{first}/{last}"}


def _place(programme: Programme, site: Mapping[str, Any], place: Mapping[str, Any]) -> Record:
    """Where a site lies, and at what depth its corals or those of a plot stand."""
    where = position(site, programme.scope.places)
    depth = str(place.get("depth_m") or site.get("depth_m") or "")
    plot = "" if place is site else f", {place.get('name', '')}"
    told = {
        "locality": f"{site.get('name', '')}{plot}",
        "habitat": str(site.get("habitat") or ""),
        "minimumDepthInMeters": depth,
        "maximumDepthInMeters": depth,
        "samplingProtocol": programme.observed_fields[1],
    }
    if where is None:
        return (
            told | {"informationWithheld": messages.text("exports.place_withheld", programme.language)}
            if site.get("latitude")
            else told
        )
    return told | {
        "decimalLatitude": f"{where.latitude:f}",
        "decimalLongitude": f"{where.longitude:f}",
        "geodeticDatum": "EPSG:4326",
        "coordinateUncertaintyInMeters": "" if where.uncertainty_m is None else str(where.uncertainty_m),
        "dataGeneralizations": ""
        if where.grain == "exact"
        else messages.text("exports.place_rounded", programme.language, grain=where.grain),
    }


def _effort(plot: Mapping[str, Any]) -> Record:
    area = number(plot.get("area_m2"))
    return {} if area is None else {"sampleSizeValue": f"{area:f}", "sampleSizeUnit": "square metre"}


def _photos(programme: Programme) -> dict[str, list[str]]:
    """By observation its photos, each named by the digest of its bytes (RFC 6920)."""
    found: dict[str, list[str]] = defaultdict(list)
    table = photos(programme)
    names = [column.name for column in table.columns]
    for row in table.rows():
        said = dict(zip(names, row, strict=True))
        if said["observation"]:
            found[str(said["observation"])].append(named(str(said["photo"])))
    return found


def named(digest: str) -> str:
    """The ni URI of the bytes of a digest (RFC 6920)."""
    return "ni:///sha-256;" + base64.urlsafe_b64encode(bytes.fromhex(digest)).decode().rstrip("=")
