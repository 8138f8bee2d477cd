"""The programme's past as spreadsheets, such as a crew kept before it had anything better: something to try the import on.

One site as a long table in headings that need no mapping; another with a row a coral, in the crew's own headings, words and
order of days, with a title above, which its mapping file explains.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Sequence
from datetime import date, datetime
from zipfile import ZIP_STORED, ZipFile, ZipInfo

from openpyxl import Workbook

from sample.conditions import ALIVE, DEAD, MISSING
from sample.dives import Dive, dives_of, slate_of
from sample.founding import Protocols
from sample.programme import ROUNDS, SITES, Coral, Site
from sample.slates import Row
from sample.story import Story
from sample.wording import LIVE_TISSUE, SIZE

RAY, OLD = SITES[2], SITES[3]
LONG_HEADINGS = (
    "site", "plot", "position", "tag", "genotype", "species", "planted_on", "seen_on", "round", "status", "size_cm",
    "live_tissue", "cause", "recorder",
)  # fmt: skip

CREW_HEADINGS = ("Reef", "Ring", "Place", "Plate", "Clone", "Kind", "Put out", "Last seen", "State", "Width", "Remarks")
CREW_WORDS = {ALIVE: "OK", DEAD: "dead", MISSING: "gone"}
MAPPING = """\
# How the crew's sheet outplants_old_moorings.xlsx is to be read: ours = theirs.

layout = "one_row_per_coral"
date_order = "dmy"

[columns]
site = "Reef"
plot = "Ring"
position = "Place"
tag = "Plate"
genotype = "Clone"
species = "Kind"
planted_on = "Put out"
seen_on = "Last seen"
status = "State"
size_cm = "Width"
note = "Remarks"

[status]
alive = ["OK"]
dead = ["dead"]
missing = ["gone", "gone?"]
not_searched = ["not reached"]
"""

_LONG_AGO = (1980, 1, 1, 0, 0, 0)
_SAVED_AT = "2026-11-01T08:00:00Z"


def long_table(story: Story, protocols: Protocols) -> bytes:
    """Ray Steps, one row a coral and visit, as CSV."""
    written = io.StringIO()
    table = csv.writer(written, lineterminator="\n")
    table.writerow(LONG_HEADINGS)
    for dive, row, coral in _readings(RAY, story, protocols):
        table.writerow(
            (
                dive.site.name,
                *_named(coral),
                coral.planted_on,
                dive.day,
                dive.planned.name,
                row.values["status"],
                *(row.values.get(name, "") for name in (SIZE, LIVE_TISSUE, "cause")),
                dive.recorder,
            )
        )
    return written.getvalue().encode()


def crew_table(story: Story, protocols: Protocols) -> bytes:
    """Old Moorings, one row a coral with what was last seen of it, as XLSX."""
    last = {coral: (dive.day, row) for dive, row, coral in _readings(OLD, story, protocols)}
    book = Workbook()
    sheet = book.active
    assert sheet is not None  # a new workbook has one sheet
    sheet.title = "Old Moorings"
    sheet.append(["Outplants at Old Moorings, state at the last dive"])
    sheet.append([])
    sheet.append(list(CREW_HEADINGS))
    for number, (coral, (day, row)) in enumerate(last.items()):
        sheet.append([OLD.name, *_named(coral), _day(coral.planted_on), f"{day:%d/%m/%Y}", *_state(number, row)])
    return _same_bytes(book)


def _readings(site: Site, story: Story, protocols: Protocols) -> Iterator[tuple[Dive, Row, Coral]]:
    """What the first readers saw of a site's tagged corals, visit by visit."""
    for planned in ROUNDS:
        for dive in dives_of(site, planned):
            if dive.device != "c":
                for row in slate_of(dive, story, protocols).rows:
                    if row.coral is not None:
                        yield dive, row, row.coral


def _named(coral: Coral) -> tuple[str, int, str | None, str, str]:
    return (coral.plot.name, coral.position, coral.tag, coral.genotype.accession, coral.genotype.species)


def _day(day: date) -> datetime:
    return datetime(day.year, day.month, day.day)


def _state(number: int, row: Row) -> Sequence[object]:
    """State, width and remark, as in real sheets: doubtful words, widths that are text, a state nobody explained."""
    word = CREW_WORDS[row.values["status"]]
    if number == 30:
        return ["??", None, "ask KT"]
    if number % 40 == 17:
        return ["not reached", None, "out of air"]
    if word == "gone" and number % 2:
        return ["gone?", None, "base only"]
    width = row.values.get(SIZE)
    return [word, None if width is None else width if number % 5 == 0 else float(width), row.values.get("cause")]


def _same_bytes(book: Workbook) -> bytes:
    """The workbook's file without the clock: openpyxl writes the time of saving into it, and zipfile that of each member."""
    saved, written = io.BytesIO(), io.BytesIO()
    book.save(saved)
    with ZipFile(saved) as given, ZipFile(written, "w", ZIP_STORED) as taken:
        for name in given.namelist():
            body = given.read(name)
            if name == "docProps/core.xml":
                body = re.sub(rb"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", _SAVED_AT.encode(), body)
            member = ZipInfo(name, _LONG_AGO)
            member.create_system = 3  # zipfile would name the system that it runs on
            taken.writestr(member, body)
    return written.getvalue()
