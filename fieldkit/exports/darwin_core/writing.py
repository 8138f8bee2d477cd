"""The archive itself: three tables, their description, and what the set of data is."""

from __future__ import annotations

import csv
import io
import xml.etree.ElementTree as ET
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from typing import IO, BinaryIO

from fieldkit import messages
from fieldkit.exports.archive import archive, member
from fieldkit.exports.darwin_core.records import Records, records
from fieldkit.exports.darwin_core.terms import FILES, ROW_TYPES, uri
from fieldkit.exports.programme import Programme
from fieldkit.reports.tables import safe

_TEXT = "http://rs.tdwg.org/dwc/text/"
_EML = "https://eml.ecoinformatics.org/eml-2.2.0"


def write(file: BinaryIO, programme: Programme) -> Mapping[str, int]:
    """The archive of a programme; how much was left out, by reason."""
    found = records(programme)
    rows = {"event.txt": found.events, "occurrence.txt": found.occurrences, "extendedmeasurementorfact.txt": found.measurements}
    with archive(file) as packed:
        packed.writestr(zipfile.ZipInfo("meta.xml"), _meta())
        packed.writestr(zipfile.ZipInfo("eml.xml"), _eml(programme, found))
        for name, terms in FILES.items():
            with member(packed, name) as one:
                _write_rows(one, terms, rows[name])
    return found.left_out


def _write_rows(file: IO[bytes], terms: Sequence[str], rows: Iterable[Mapping[str, str]]) -> None:
    text = io.TextIOWrapper(file, encoding="utf-8", newline="", write_through=True)
    lines = csv.writer(text, lineterminator="\n")
    lines.writerow(terms)
    lines.writerows(safe(row.get(term, "") for term in terms) for row in rows)
    text.detach()


def _meta() -> bytes:
    """What stands in which column, as the text guide asks."""
    top = ET.Element("archive", {"xmlns": _TEXT, "metadata": "eml.xml"})
    for name, terms in FILES.items():
        is_core = name == "event.txt"
        about = {
            "encoding": "UTF-8",
            "fieldsTerminatedBy": ",",
            "linesTerminatedBy": "\\n",
            "fieldsEnclosedBy": '"',
            "ignoreHeaderLines": "1",
            "rowType": ROW_TYPES[name],
        }
        table = ET.SubElement(top, "core" if is_core else "extension", about)
        ET.SubElement(ET.SubElement(table, "files"), "location").text = name
        ET.SubElement(table, "id" if is_core else "coreid", {"index": "0"})
        for place, term in enumerate(terms):
            ET.SubElement(table, "field", {"index": str(place), "term": uri(term)})
    return _xml(top)


def _eml(programme: Programme, found: Records) -> bytes:
    """Whose data it is and what days it spans. The licence is for its owners to say, before it is published."""

    def say(key: str, **data: str | int) -> str:
        return messages.text(f"exports.{key}", programme.language, **data)

    top = ET.Element("eml:eml", {"xmlns:eml": _EML, "packageId": programme.id, "system": "fieldkit"})
    dataset = ET.SubElement(top, "dataset")
    ET.SubElement(dataset, "title").text = say("archive_title", programme=programme.name)
    _organisation(dataset, "creator", programme.name)
    ET.SubElement(dataset, "language").text = programme.language
    numbers = {"events": len(found.events), "unsettled": found.left_out["unsettled"], "unknown": found.left_out["no_species"]}
    abstract = say("archive_abstract", n=len(found.occurrences), **numbers)
    ET.SubElement(ET.SubElement(dataset, "abstract"), "para").text = abstract
    ET.SubElement(ET.SubElement(dataset, "intellectualRights"), "para").text = say("archive_rights")
    days = sorted(day for event in found.events for day in event["eventDate"].split("/"))
    if days:
        span = ET.SubElement(ET.SubElement(ET.SubElement(dataset, "coverage"), "temporalCoverage"), "rangeOfDates")
        for name, day in (("beginDate", days[0]), ("endDate", days[-1])):
            ET.SubElement(ET.SubElement(span, name), "calendarDate").text = day
    _organisation(dataset, "contact", programme.name)
    return _xml(top)


def _organisation(dataset: ET.Element, role: str, name: str) -> None:
    ET.SubElement(ET.SubElement(dataset, role), "organizationName").text = name


def _xml(top: ET.Element) -> bytes:
    ET.indent(top)
    made: bytes = ET.tostring(top, encoding="UTF-8", xml_declaration=True)
    return made + b"\n"
