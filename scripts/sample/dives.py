"""Who dived where in a round, and what an honest slate of that dive says."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from sample.conditions import Condition, condition, read_by
from sample.dice import stream
from sample.fates import Fate
from sample.founding import Protocols, crew_head
from sample.pictures import coral_photo, slate_photo
from sample.programme import SEED, Coral, Plot, Round, Site, identity, moment, visit_day
from sample.slates import Row, Shot, Slate
from sample.story import Story
from sample.wording import coral_fields, group_fields, head_fields

CAMERAS = {"a": "Camera 1", "b": "Camera 2", "c": "Camera 3"}
TYPING_MINUTES = 30  # a slate


@dataclass(frozen=True)
class Dive:
    """One recorder's dive: some plots of a site, noted on one slate, typed in the evening on one device."""

    site: Site
    planned: Round
    day: date
    number: str
    device: str
    recorder: str
    buddy: str
    plots: tuple[int, ...]
    start: tuple[int, int] = (8, 30)

    @property
    def name(self) -> str:
        plots = ", ".join(map(str, self.plots))
        return f"{self.planned.name} {self.site.code} dive {self.number} {self.recorder} plots {plots}"

    @property
    def began_at(self) -> datetime:
        return moment(self.day, *self.start)


def dives_of(site: Site, planned: Round) -> Iterator[Dive]:
    """The dives of a site's visit: two teams, two dives each, three plots a dive; a third reader takes one plot again."""
    day = visit_day(site, planned)
    again = stream(SEED, "blind repeat", site.code, planned.name).randint(1, 10)
    yield Dive(site, planned, day, "1", "a", "KT", "RS", (1, 2, 3))
    yield Dive(site, planned, day, "1", "b", "MO", "JV", (7, 8, 9))
    yield Dive(site, planned, day, "2", "a", "KT", "RS", (4, 5, 6), (10, 30))
    yield Dive(site, planned, day, "2", "b", "MO", "JV", (10, 11, 12), (10, 30))
    yield Dive(site, planned, day, "3", "c", "RS", "KT", (again,), (13, 0))


def slate_of(dive: Dive, story: Story, protocols: Protocols) -> Slate:
    """The dive's slate as it should be typed: every coral of its plots that is still followed, each under its id."""
    rings = [story.followed(f"{dive.site.code}-{number:02d}", dive.planned) for number in dive.plots]
    rows = [row for ring in rings if ring for row in _ring_rows(dive, ring)]
    for line, row in enumerate(rows, start=1):
        row.values["line"] = str(line)
    head = crew_head(protocols.monitoring, dive.site, dive.day, dive.recorder, buddy=dive.buddy, dive=dive.number)
    head |= {"round": dive.planned.name, **head_fields(dive.site, dive.day, dive.number)}
    typed_at = moment(dive.day, 16) + timedelta(minutes=TYPING_MINUTES) * (int(dive.number) - 1)
    return Slate(dive.name, dive.device, typed_at, dive.day, dive.site.code, head, rows)


def shot_of(dive: Dive, row: Row, *, minute: int, clock_off: timedelta = timedelta(0), plate: str | None) -> Shot:
    """A photo of the row's coral, so many minutes into the dive, dated by a camera whose clock may be off."""
    taken_at = dive.began_at + timedelta(minutes=minute, seconds=7) + clock_off
    dice = stream(SEED, "photo", dive.name, row.single.name)
    seen = Condition(row.values["status"], bleaching=row.values.get("bleaching"))
    body = coral_photo(row.single, seen, plate=plate, taken_at=taken_at, camera=CAMERAS[dive.device], dice=dice)
    return Shot(body, taken_at, "whole")


def clock_shot(dive: Dive, *, clock_off: timedelta = timedelta(0)) -> Shot:
    """The slate with a watch beside it, taken before the first coral: it tells what the camera's clock is worth."""
    true_time = dive.began_at - timedelta(minutes=4)
    lines = (f"site {dive.site.code}", f"dive {dive.number}  {dive.recorder}", str(dive.day), f"watch {true_time:%H:%M:%S}")
    dice = stream(SEED, "slate photo", dive.name)
    body = slate_photo(lines, taken_at=true_time + clock_off, camera=CAMERAS[dive.device], dice=dice)
    return Shot(body, true_time + clock_off, "slate")


def _ring_rows(dive: Dive, ring: Sequence[Fate]) -> list[Row]:
    plot = ring[0].coral.plot
    seen = {fate.coral: condition(fate, dive.planned, dive.day) for fate in ring}
    if plot.recorded_as == "counted":
        return _group_rows(plot, seen)
    return [_coral_row(dive, coral, one) for coral, one in seen.items()]


def _coral_row(dive: Dive, coral: Coral, seen: Condition) -> Row:
    named: dict[str, Any] = {"coral": identity("coral", coral.name), "plot": identity("plot", coral.plot.name)}
    return Row(coral, named | coral_fields(read_by(dive.recorder, seen, coral, dive.day)))


def _group_rows(plot: Plot, seen: Mapping[Coral, Condition]) -> list[Row]:
    accessions = sorted({coral.genotype.accession for coral in seen})
    return [
        Row(
            None,
            {
                "plot": identity("plot", plot.name),
                "genotype": identity("genotype", accession),
                **group_fields([one for coral, one in seen.items() if coral.genotype.accession == accession]),
            },
        )
        for accession in accessions
    ]
