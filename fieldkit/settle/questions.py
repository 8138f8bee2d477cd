"""The matters that are not about one coral: sessions, slates, names, things said twice, rulings that differ. Pure."""

from __future__ import annotations

from collections.abc import Collection, Container, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import Any

from fieldkit.errors import Fault
from fieldkit.ledger import Entry
from fieldkit.ledger.fold import Session
from fieldkit.settle.calendar import day_of, is_set_aside, ruled_day, ruled_site, settled_day
from fieldkit.settle.camera import doubt_about_photos, offset_of
from fieldkit.settle.matter import Matter, Rulings
from fieldkit.settle.reading import home

SlatePair = tuple[str, str, str | None, str | None]
"""Two sessions, which of them is the slate typed again as ruled, and the ruling; None while that is open."""


def session_matters(
    one: Session,
    rulings: Rulings,
    *,
    boat_days: Collection[str],
    window_days: int,
    sites_of_plots: Collection[str],
    camera_times: Iterable[Any] = (),
) -> list[Matter]:
    """What is doubtful about a session as a whole, found on what it says itself, before any ruling moves it.

    Only the times of its photos are held against the day that was settled: while that is open it is the question, not they.

    Args:
        boat_days: days on which somebody was out at its site, as far as anyone wrote them down.
        window_days: how many days around such a day still belong to it.
        sites_of_plots: the sites of the plots that it observed.
        camera_times: of the photos of its rows, when they were taken by the camera's clock.
    """
    unit = f"session {one.id}"
    matters = [
        Matter("not_entitled", (digest,), Fault("settle.not_entitled"), unit, session=one.id) for digest in one.not_entitled
    ]
    if one.continued_twice:
        matters.append(Matter("continued_twice", one.continued_twice, Fault("settle.continued_twice"), unit, session=one.id))
    if one.disputed:
        matters.append(corrected_twice(one.opening, one.disputed, unit))
    if one.has_observations and not one.is_practice and not one.taken_back:
        if why := _doubt_about_day(one, boat_days, window_days):
            matters.append(_of_session("date", "day", one, why, rulings, is_told=ruled_day(one, rulings) is not None))
        if why := _doubt_about_site(one, sites_of_plots):
            matters.append(_of_session("site", "site", one, why, rulings, is_told=ruled_site(one, rulings) is not None))
        is_day_open = any(matter.kind == "date" and matter.is_open for matter in matters)
        if not is_day_open and not is_set_aside(one, rulings):
            matters += _about_photos(one, settled_day(one, rulings), camera_times, rulings)
    return matters + rulings_that_differ(rulings, {one.id: unit})


def _doubt_about_day(one: Session, boat_days: Collection[str], window_days: int) -> Fault | None:
    said = str(one.values.get("day", ""))
    day = day_of(said)
    if day is None:
        return Fault("settle.no_day", {"day": said})
    out = [found for text in boat_days if (found := day_of(text))]
    # An import brings days from before anyone wrote boat days down.
    if "import" in one.values or not out or any(abs((day - other).days) <= window_days for other in out):
        return None
    return Fault("settle.nobody_out", {"day": said})


def _doubt_about_site(one: Session, sites_of_plots: Collection[str]) -> Fault | None:
    site = one.values.get("site")
    if not isinstance(site, str):
        return Fault("settle.no_site")
    return Fault("settle.plots_of_other_site") if set(sites_of_plots) - {site} else None


_OTHER_ANSWERS = ("stands", "set_aside")
_SENSELESS = {"settle.no_day": ("stands",), "settle.no_site": ("stands",), "settle.photos_outside": ("set_aside",)}
"""What is not said at all cannot stand as it is; and nobody throws a session away for its camera's clock."""


def _of_session(kind: str, answer: str, one: Session, why: Fault, rulings: Rulings, *, is_told: bool) -> Matter:
    """`is_told`: whether a ruling says what is right."""
    answers = tuple(given for given in (answer, *_OTHER_ANSWERS) if given not in _SENSELESS.get(why.key, ()))
    matter = rulings.asked(Matter(kind, (one.id,), why, f"session {one.id}", session=one.id, answers=answers))
    ruling = rulings.settling(matter)
    return replace(matter, ruling=None) if ruling and ruling.answer == answer and not is_told else matter


def _about_photos(one: Session, day: date | None, camera_times: Iterable[Any], rulings: Rulings) -> list[Matter]:
    """One ruling puts the clock right for all photos of the session, those that come in later too."""
    why = doubt_about_photos(day, camera_times)
    if why is None:
        return []
    ruling = rulings.on("photo_time", [one.id])
    is_told = offset_of(ruling.keys.get("offset_s")) is not None if ruling else False
    return [_of_session("photo_time", "clock", one, why, rulings, is_told=is_told)]


def corrected_twice(of: Sequence[str], fields: Iterable[str], unit: str) -> Matter:
    """Several standing statements about one thing contradict each other; it is settled by one that replaces them."""
    return Matter("corrected_twice", tuple(sorted(of)), Fault("settle.corrected_twice", {"fields": ", ".join(fields)}), unit)


def name_of_two(ids: Collection[str], name: str, unit: str) -> Matter:
    """Two things go by one name. They are never merged by themselves."""
    return Matter("name", tuple(sorted(ids)), Fault("settle.name_of_two", {"name": name}), unit)


def new_tags_of_no_coral(entries: Iterable[Entry], corals: Container[str]) -> list[Matter]:
    """Actions that hung a new tag and do not say on which coral; whoever did it mends the row."""
    return [
        Matter(
            "tag",
            (entry.digest,),
            Fault("settle.new_tag_of_no_coral", {"tag": str(entry.values["tag"])}),
            home(entry.values, entry.session),
            session=entry.session,
        )
        for entry in entries
        if entry.kind == "action" and "tag" in entry.values and entry.values.get("coral") not in corals
    ]


def rulings_that_differ(rulings: Rulings, unit_of: Mapping[str, str]) -> list[Matter]:
    """Two leads answered one matter differently; none of the answers applies until one is taken back or all are replaced.

    Args:
        unit_of: of the observations or sessions ruled upon, the unit that asks.
    """
    return [
        Matter(
            "rulings_differ",
            tuple(sorted(ruling.digest for ruling in found)),
            Fault("settle.rulings_differ", {"answers": ", ".join(sorted({ruling.answer for ruling in found}))}),
            min(unit_of[name] for name in found[0].of if name in unit_of),
        )
        for found in rulings.that_differ()
        if any(name in unit_of for name in found[0].of)
    ]


def slate_pairs(
    pairs: Iterable[tuple[str, str]], rows: Mapping[str, Mapping[str, object]], rulings: Rulings, unit: str
) -> tuple[list[SlatePair], list[Matter]]:
    """What is settled about pairs of sessions that look like one slate, and a matter for each pair."""
    pairs = list(pairs)
    found: list[SlatePair] = []
    matters: list[Matter] = []
    for one, other in pairs:
        why = Fault("settle.same_slate", {"rows": len(rows[one].keys() & rows[other].keys())})
        matter = Matter("same_slate", (one, other), why, unit, answers=("same_slate", "both_stand"))
        ruling = rulings.settling(matter)
        kept = ruling.keys.get("keep") if ruling and ruling.answer == "same_slate" else None
        retyped = {one: other, other: one}.get(str(kept))
        settled_by = ruling.digest if ruling and (retyped or ruling.answer == "both_stand") else None
        found.append((one, other, retyped, settled_by))
        matters.append(replace(matter, ruling=settled_by))
    return found, matters + rulings_that_differ(rulings, {id_: unit for pair in pairs for id_ in pair})
