"""The terms of each file of the archive, in the order of their columns."""

from __future__ import annotations

from collections.abc import Mapping

_DWC = "http://rs.tdwg.org/dwc/terms/"
_OBIS = "http://rs.iobis.org/obis/terms/"

# fmt: off
EVENT = (
    "eventID", "parentEventID", "eventType", "eventDate", "locationID", "locality", "decimalLatitude",
    "decimalLongitude", "geodeticDatum", "coordinateUncertaintyInMeters", "minimumDepthInMeters",
    "maximumDepthInMeters", "habitat", "samplingProtocol", "sampleSizeValue", "sampleSizeUnit", "dataGeneralizations",
    "informationWithheld",
)
OCCURRENCE = (
    "eventID", "occurrenceID", "organismID", "recordNumber", "scientificName", "scientificNameID", "occurrenceStatus",
    "vitality", "individualCount", "basisOfRecord", "recordedBy", "associatedMedia",
)
MEASUREMENT = (
    "eventID", "occurrenceID", "measurementType", "measurementTypeID", "measurementValue", "measurementUnit",
    "measurementUnitID", "measurementMethod",
)
# fmt: on

ROW_TYPES: Mapping[str, str] = {
    "event.txt": f"{_DWC}Event",
    "occurrence.txt": f"{_DWC}Occurrence",
    "extendedmeasurementorfact.txt": f"{_OBIS}ExtendedMeasurementOrFact",
}
FILES: Mapping[str, tuple[str, ...]] = {
    "event.txt": EVENT,
    "occurrence.txt": OCCURRENCE,
    "extendedmeasurementorfact.txt": MEASUREMENT,
}

_OF_OBIS = frozenset({"measurementTypeID", "measurementUnitID"})

# NERC Vocabulary Server, collection P06 (http://vocab.nerc.ac.uk/collection/P06/current/), by UCUM code.
_P06 = {"cm": "ULCM", "%": "UPCT", "Cel": "UPAA", "m": "ULAA", "d": "UTAA"}


def uri(term: str) -> str:
    """The address by which a term is known."""
    return (_OBIS if term in _OF_OBIS else _DWC) + term


def unit_uri(unit: str) -> str:
    """The address of a unit; empty where we know none: nothing is guessed."""
    return f"http://vocab.nerc.ac.uk/collection/P06/current/{_P06[unit]}/" if unit in _P06 else ""
