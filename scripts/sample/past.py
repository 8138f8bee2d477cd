"""Two years of monitoring as the base holds them on the evening before the last boat day.

Besides honest slates there is what every past holds: a row corrected and one taken back before the slate was closed, tags
renewed, corals withdrawn, three differing readings that the lead has ruled upon, a training day. And living corals that a
diver took for dead: nobody can know yet.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from fieldkit.ledger import Entry
from sample.conditions import ALIVE, DEAD, Condition
from sample.dives import Dive, dives_of, shot_of, slate_of
from sample.fates import HOT_FROM, HOT_UNTIL, Fate
from sample.founding import Protocols, lead_log, nursery_stock, outplantings, register
from sample.log import Log
from sample.programme import (
    LAST_DAY,
    NOT_FOLLOWED,
    PEOPLE,
    PLOTS_A_SITE,
    ROUNDS,
    SITES,
    Coral,
    Round,
    Site,
    identity,
    visit_day,
)
from sample.slates import Row, Slate, Typed, typed
from sample.story import MISTAKEN_IN, RETAGGED_IN, WITHDRAWN_IN, Story
from sample.training import training
from sample.wording import LIVE_TISSUE, SIZE, coral_fields, far_less, point_lost

PORTRAYED = ("LAN-01/1", "RAY-04/2")  # corals photographed at every visit
CORRECTED = ("RAY", ROUNDS[1])  # the visit in which one row was corrected and one taken back
RULED = (("LAN", ROUNDS[3]), ("RAY", ROUNDS[3]), ("OLD", ROUNDS[4]))  # visits with a differing reading that was ruled upon


@dataclass
class Past:
    """All that the base holds, in the order in which it came in; and what the truth must say of it."""

    logs: list[Log] = field(default_factory=list)
    photos: dict[str, bytes] = field(default_factory=dict)
    mistaken: dict[Coral, list[Entry]] = field(default_factory=dict)
    """Living corals that were written down as dead, and where."""
    ruled: list[Entry] = field(default_factory=list)
    """The rulings that the lead gave."""

    @property
    def entries(self) -> Iterator[Entry]:
        for log in self.logs:
            yield from log.entries


def past(fates: Sequence[Fate], story: Story, protocols: Protocols) -> Past:
    """The base before the last boat day."""
    held = Past()
    corals = [fate.coral for fate in fates]
    held.logs += [register(protocols), nursery_stock(corals), *outplantings(corals, protocols)]
    visits = [(visit_day(site, planned), site, planned) for site in SITES for planned in ROUNDS]
    for day, site, planned in sorted(visits, key=lambda visit: (visit[0], visit[1].code)):
        if day == LAST_DAY and site is SITES[0]:
            held.logs += [one.log for one in training(story, protocols)]
        held.logs.append(_evening_before(day, site, first_of_day=site is SITES[0] or day < LAST_DAY))
        if day < LAST_DAY:
            _visit(held, list(dives_of(site, planned)), story, protocols)
    return held


def _visit(held: Past, dives: Sequence[Dive], story: Story, protocols: Protocols) -> None:
    """A site's visit: the slates as typed that evening, and what the lead made of them."""
    site, planned, day = dives[0].site, dives[0].planned, dives[0].day
    slates = [slate_of(dive, story, protocols) for dive in dives]
    *firsts, again = slates
    for dive, slate in zip(dives, firsts, strict=False):
        _portray(dive, slate)
    mistaken = [row for slate in slates for row in slate.rows if planned is MISTAKEN_IN and row.coral in story.taken_for_dead]
    for row in mistaken:
        _take_for_dead(row)
    if (site.code, planned) == CORRECTED:
        _slip(firsts[0])
    doubted = _differ(again) if (site.code, planned) in RULED else None
    told = [typed(slate, *_actions(slate, story, planned)) for slate in slates]
    held.logs += [one.log for one in told]
    held.photos |= {digest: body for one in told for digest, body in one.photos}
    for row in mistaken:
        if row.coral is not None:
            held.mistaken.setdefault(row.coral, []).extend(one.entries[row] for one in told if row in one.entries)
    _evening_after(held, site, planned, day, told, doubted, story)


def _portray(dive: Dive, slate: Slate) -> None:
    for minute, row in enumerate(slate.rows):
        if row.coral is not None and row.coral.name in PORTRAYED:
            row.shots.append(shot_of(dive, row, minute=minute, plate=row.coral.tag))


def _take_for_dead(row: Row) -> None:
    kept = {name: row.values[name] for name in ("coral", "plot", "line")}
    row.values = kept | coral_fields(Condition(DEAD, attachment="solid", cause="heat"))


def _slip(slate: Slate) -> None:
    """One size was typed without its decimal point and put right; one row was typed a second time and taken back."""
    living = [row for row in slate.rows if row.values["status"] == ALIVE]
    living[0].mistyped = living[0].values | {SIZE: point_lost(living[0].values[SIZE])}
    slate.rows.append(Row(living[1].coral, dict(living[1].values), taken_back=True))


def _differ(slate: Slate) -> Row:
    """The second reader sees far less live tissue on the first living coral."""
    row = next(row for row in slate.rows if row.values["status"] == ALIVE)
    row.values[LIVE_TISSUE] = far_less(row.values[LIVE_TISSUE])
    return row


def _actions(slate: Slate, story: Story, planned: Round) -> Iterator[Mapping[str, Any]]:
    """What the divers did: loose corals fixed again at month 1, overgrown tags renewed at month 6."""
    for row in slate.rows if slate.device != "c" else ():
        if row.coral is None:
            continue
        named = {"coral": identity("coral", row.coral.name), "plot": identity("plot", row.coral.plot.name)}
        if planned is ROUNDS[0] and row.values.get("attachment") == "loose":
            yield named | {"done": "reattached"}
        if planned is RETAGGED_IN and row.coral in story.retagged:
            yield named | {"done": "new tag", "tag": story.retagged[row.coral]}


def _evening_after(
    held: Past, site: Site, planned: Round, day: date, told: Sequence[Typed], doubted: Row | None, story: Story
) -> None:
    """The lead's work after a visit, where there was any: a ruling, withdrawals, the heat entered as an event."""
    log = lead_log(f"after {planned.name} {site.code}", day + timedelta(days=2), 19)
    if doubted is not None:
        held.ruled.append(log.say("ruling", _ruling(doubted, told)))
    for coral in sorted(story.withdrawn, key=lambda coral: coral.name):
        if planned is WITHDRAWN_IN and coral.plot.site is site:
            why = "taken whole for a marker test"
            log.say("coral", {"coral": identity("coral", coral.name), "withdrawn_on": str(day), "why": why})
    if planned is MISTAKEN_IN and site is SITES[0]:
        log.say("event", _heat())
    if len(log.entries) > 1:
        log.close()
        held.logs.append(log)


def _ruling(doubted: Row, told: Sequence[Typed]) -> dict[str, Any]:
    """Of two differing readings the first diver's holds."""
    same = [(row, one.entries[row]) for one in told for row in one.entries if row.coral is doubted.coral]
    return {
        "matter": "double",
        "of": sorted(entry.digest for _, entry in same),
        "answer": "use",
        "fields": {LIVE_TISSUE: same[0][0].values[LIVE_TISSUE]},
        "why": "photo shows the whole crown alive; the second reader saw the shaded side",
    }


def _heat() -> dict[str, Any]:
    return {
        "event": identity("event", "heat 2026"),
        "what": "heat",
        "from": str(HOT_FROM),
        "until": str(HOT_UNTIL),
        "sites": [identity("site", site.code) for site in SITES],
    }


def _evening_before(day: date, site: Site, *, first_of_day: bool) -> Log:
    """The boat day as planned: which plots, who, and the numbers of the slates that go out, one a plot."""
    log = lead_log(f"boat day {day} {site.code}", day - timedelta(days=1), 19 if first_of_day else 20)
    numbers = [number for number in range(1, PLOTS_A_SITE + 1) if (site.code, number) not in NOT_FOLLOWED]
    crew = [person.initials for person in PEOPLE] if day == LAST_DAY else ["KT", "MO", "RS", "JV"]
    first = 1 if first_of_day else 1 + len(numbers)
    log.say(
        "boat_day",
        {
            "boat_day": identity("boat_day", f"{day} {site.code}"),
            "day": str(day),
            "site": identity("site", site.code),
            "plots": [identity("plot", f"{site.code}-{number:02d}") for number in numbers],
            "crew": [identity("person", initials) for initials in crew],
            "sheets": [str(sheet) for sheet in range(first, first + len(numbers))],
        },
    )
    log.close()
    return log
