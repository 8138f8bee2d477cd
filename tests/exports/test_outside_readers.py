"""Every form is opened by a program that knows nothing of us, and holds there what the base holds."""

from __future__ import annotations

import csv
import hashlib
from collections import Counter
from io import BytesIO, StringIO
from zipfile import ZipFile

import geojson
import gpxpy
import pyarrow.parquet
import pytest
from dwca.read import DwCAReader
from openpyxl import load_workbook

from fieldkit.base import Base
from fieldkit.exports import export
from fieldkit.exports.darwin_core.records import NOT_FOUND, named
from tests.exports.conftest import TakenOut

# fmt: off
TABLES = [
    "corals", "visits", "counts", "observations", "sessions", "actions", "photos", "sites", "plots", "genotypes", "lots",
    "events", "dictionary",
]
# fmt: on
EVENT = "http://rs.tdwg.org/dwc/terms/Event"
OCCURRENCE = "http://rs.tdwg.org/dwc/terms/Occurrence"
MEASUREMENT = "http://rs.iobis.org/obis/terms/ExtendedMeasurementOrFact"


def term(name: str) -> str:
    """As https://dwc.tdwg.org/list/ has it (the reader's own list is older than `vitality`)."""
    return f"http://rs.tdwg.org/dwc/terms/{name}"


def rows_of(made: bytes, table: str) -> list[dict[str, str]]:
    with ZipFile(BytesIO(made)) as packed:
        return list(csv.DictReader(StringIO(packed.read(f"{table}.csv").decode("utf-8"), newline="")))


@pytest.fixture(scope="module")
def archive(taken_out: TakenOut, tmp_path_factory: pytest.TempPathFactory) -> DwCAReader:
    file = tmp_path_factory.mktemp("archive") / "darwin-core.zip"
    file.write_bytes(taken_out("darwin-core"))
    with DwCAReader(file) as opened:
        yield opened


def test_csv_holds_every_thing_of_the_base_once(taken_out: TakenOut, base: Base) -> None:
    made = taken_out("csv")
    with base.view() as view:
        expected = {
            "corals": {row["id"] for row in view.corals()},
            "observations": {row.digest for row in view.observations()},
            "sites": {str(said["name"]) for said in view.things("site").values()},
            "genotypes": {str(said["accession"]) for said in view.things("genotype").values()},
            "sessions": set(view.sessions()),
        }
        visits, fates = len(view.seen()), view.fates()
    for table, those in expected.items():
        found = [row[next(iter(row))] for row in rows_of(made, table)]
        assert len(found) == len(set(found)) and set(found) == those, table
    assert len(rows_of(made, "visits")) == visits
    assert Counter(row["fate"] for row in rows_of(made, "observations")) == fates


def test_every_column_of_every_table_stands_in_the_dictionary_with_words(taken_out: TakenOut) -> None:
    made = taken_out("csv")
    said = {(row["table"], row["column"]): row for row in rows_of(made, "dictionary")}
    for table in TABLES[:-1]:
        for column in rows_of(made, table)[0]:
            assert said.pop((table, column))["meaning"].endswith("."), column
    assert said == {}
    tissue = next(row for row in rows_of(made, "dictionary") if row["column"] == "live_tissue")
    assert (tissue["unit"], tissue["term"]) == ("%", "live tissue cover")


def test_a_workbook_holds_the_same_tables_with_days_and_numbers_as_such(taken_out: TakenOut) -> None:
    book = load_workbook(BytesIO(taken_out("xlsx")), read_only=True)
    assert book.sheetnames == TABLES
    header, *rows = book["corals"].iter_rows(values_only=True)
    told = [dict(zip(header, row, strict=True)) for row in rows]
    same = rows_of(taken_out("csv"), "corals")
    assert [str(row["coral"]) for row in told] == [row["coral"] for row in same]
    assert [row["planted_on"].date().isoformat() for row in told] == [row["planted_on"] for row in same]
    sizes = [(row["planted_size_cm"], other["planted_size_cm"]) for row, other in zip(told, same, strict=True)]
    assert all((mine is None and not other) or mine == float(other) for mine, other in sizes) and any(mine for mine, _ in sizes)


@pytest.mark.parametrize("table", ["corals", "visits", "counts"])
def test_parquet_holds_the_same_cells_typed(table: str, taken_out: TakenOut) -> None:
    found = pyarrow.parquet.read_table(BytesIO(taken_out("parquet", table=table)))
    same = rows_of(taken_out("csv"), table)
    assert found.num_rows == len(same) and found.column_names == list(same[0])
    for name, kind in zip(found.column_names, found.schema.types, strict=True):
        mine, others = found[name].to_pylist(), [row[name] for row in same]
        if str(kind) == "bool":
            others = [{"yes": True, "no": False}[one] for one in others]
        elif str(kind) in ("double", "int64"):
            others = [float(one) if one else None for one in others]
        else:
            mine, others = [None if one is None else str(one) for one in mine], [one or None for one in others]
        assert mine == others, name
    assert {"planted_on": "date32[day]"}.items() <= {
        name: str(found.schema.field(name).type) for name in found.column_names
    }.items()


def test_a_darwin_core_archive_is_an_event_core_with_two_extensions(archive: DwCAReader) -> None:
    assert archive.descriptor.core.type == EVENT
    assert {one.type for one in archive.descriptor.extensions} == {OCCURRENCE, MEASUREMENT}
    assert "Nuvelako" in archive.metadata.findtext("dataset/title")


def test_each_coral_seen_alive_or_dead_is_present_with_its_vitality_and_none_is_absent(archive: DwCAReader, base: Base) -> None:
    found = [row.data for core in archive for row in core.extensions if row.rowtype == OCCURRENCE]
    assert {row[term("occurrenceStatus")] for row in found} == {"present"}
    tagged = Counter(row[term("vitality")] for row in found if row[term("organismID")])
    with base.view() as view:
        states = Counter(row["state"] for row in view.seen())
        counted = [row["said"]["numbers"] for row in view.counted_visits()]
    assert tagged == {"alive": states["alive"], "dead": states["dead"]}
    groups = Counter[str]()
    for row in found:
        groups[row[term("vitality")]] += int(row[term("individualCount")] or 0)
    assert (groups["alive"], groups["dead"]) == (sum(one[0] for one in counted), sum(one[1] for one in counted))
    ids = [row[term("occurrenceID")] for row in found]
    assert len(ids) == len(set(ids))


def test_what_was_not_found_is_a_count_of_its_plot(archive: DwCAReader, base: Base) -> None:
    found = [row.data for core in archive for row in core.extensions if row.rowtype == MEASUREMENT]
    missing = [row for row in found if row[term("measurementType")] == NOT_FOUND]
    with base.view() as view:
        tagged = sum(row["state"] == "missing" for row in view.seen())
        counted = sum(row["said"]["numbers"][2] for row in view.counted_visits())
    assert sum(int(row[term("measurementValue")]) for row in missing) == tagged + counted
    assert {row[term("occurrenceID")] for row in missing} == {""}


def test_events_nest_and_every_occurrence_has_one(archive: DwCAReader) -> None:
    events = {core.id: core.data for core in archive}
    for data in events.values():
        parent = data[term("parentEventID")]
        assert parent in events if data[term("eventType")] == "Sample" else not parent
        assert data[term("geodeticDatum")] == "EPSG:4326"
    for core in ("occurrence.txt", "extendedmeasurementorfact.txt"):  # the reader passes over rows without an event in silence
        with archive.open_included_file(core) as file:
            assert {row["eventID"] for row in csv.DictReader(file)} <= events.keys()


def test_units_are_told_by_the_nerc_vocabulary_where_it_has_them(archive: DwCAReader) -> None:
    # http://vocab.nerc.ac.uk/collection/P06/current/: ULCM centimetres, UPCT per cent
    found = [row.data for core in archive for row in core.extensions if row.rowtype == MEASUREMENT]
    units = {(row[term("measurementUnit")], row["http://rs.iobis.org/obis/terms/measurementUnitID"]) for row in found}
    vocabulary = "http://vocab.nerc.ac.uk/collection/P06/current"
    assert units == {("", ""), ("cm", f"{vocabulary}/ULCM/"), ("%", f"{vocabulary}/UPCT/")}


def test_geojson_is_valid_and_puts_longitude_first(taken_out: TakenOut, base: Base) -> None:
    found = geojson.loads(taken_out("geojson", places="exact"))
    assert found.is_valid and len(found.features) == 4
    with base.view() as view:
        sites = {said["name"]: said for said in view.things("site").values()}
        corals = len(view.corals()) + sum(row["planted"] for row in view.counted())
    for one in found.features:
        site = sites[one.properties["name"]]
        assert one.geometry.coordinates == [float(site["longitude"]), float(site["latitude"])]
    assert sum(one.properties["corals"] for one in found.features) == corals


def test_gpx_holds_a_waypoint_each_site(taken_out: TakenOut, base: Base) -> None:
    found = gpxpy.parse(taken_out("gpx", places="exact").decode("utf-8"))
    with base.view() as view:
        sites = {
            (str(said["name"]), float(said["latitude"]), float(said["longitude"])) for said in view.things("site").values()
        }
    assert {(one.name, one.latitude, one.longitude) for one in found.waypoints} == sites
    assert found.routes == [] and "no plan for a dive" in found.description


@pytest.mark.parametrize("form", ["csv", "darwin-core"])
def test_the_same_is_written_the_same_whenever_it_is(form: str, base: Base, taken_out: TakenOut) -> None:
    again = BytesIO()
    with base.view() as view:
        export(base, view, again, form)
    assert again.getvalue() == taken_out(form)
    with ZipFile(again) as packed:
        assert {one.date_time for one in packed.infolist()} == {(1980, 1, 1, 0, 0, 0)}  # ZIP knows no earlier time


def test_a_photo_is_named_as_rfc_6920_names_bytes() -> None:
    # RFC 6920, 8.1: the ni URI of "Hello World!"
    digest = hashlib.sha256(b"Hello World!").hexdigest()
    assert named(digest) == "ni:///sha-256;f4OxZX_x_FO5LcGBSKHWXfwtSx-j1ncoSt3SABJtkGk"


def test_what_an_archive_says_of_itself_is_in_the_language_asked_for(base: Base) -> None:
    file = BytesIO()
    with base.view() as view:
        export(base, view, file, "darwin-core", language="es")
    with ZipFile(file) as packed:
        about, events = (packed.read(name).decode("utf-8") for name in ("eml.xml", "event.txt"))
    assert "<language>es</language>" in about and "corales trasplantados" in about and "Redondeado a 0.01 grados" in events
