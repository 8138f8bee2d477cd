"""What would likely settle a matter, with its reasons in words. A view of the state and no part of it: a person decides."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from statistics import median
from typing import Any

from fieldkit.base import MatterRow, ObservationRow, SessionRow, View
from fieldkit.errors import Fault
from fieldkit.ledger import Entry
from fieldkit.reports.misreads import likely_corals
from fieldkit.settle.calendar import day_of
from fieldkit.settle.camera import is_outside, offset_of, shifted, time_of
from fieldkit.settle.matter import as_ruling


@dataclass(frozen=True)
class Suggested:
    """An answer that is likely right. A person decides."""

    answer: str
    keys: Mapping[str, Any]
    """What goes with it: the coral's id under `coral`, a digest under `observation`, a day, a site, fields."""
    probability: float | None
    """None where nothing measures it; then the reasons speak for themselves."""
    why: tuple[Fault, ...]
    label: str
    """What it suggests, as people call it: the coral's tag or position, the day, the site; else the answer."""


def suggestions(
    view: View,
    matters: Iterable[MatterRow],
    observations: Mapping[str, ObservationRow],
    sessions: Mapping[str, SessionRow],
) -> dict[str, Suggested]:
    """By the matter's id, what is suggested, as far as anything is.

    Args:
        matters: open ones.
        observations, sessions: all that they are about.
    """
    matters = list(matters)
    found = _ruled_before(view, matters)
    found |= _corals(view, [matter for matter in matters if matter.kind == "tag"], observations, sessions)
    for matter in matters:
        told = {"date": _day, "site": _site, "photo_time": _clock}.get(matter.kind)
        if told and matter.of[0] in sessions and (suggested := told(view, sessions[matter.of[0]])):
            found[matter.id] = suggested
    return found


# Misread tags.


def _corals(
    view: View,
    matters: Iterable[MatterRow],
    observations: Mapping[str, ObservationRow],
    sessions: Mapping[str, SessionRow],
) -> dict[str, Suggested]:
    wanted = {matter.id: (matter.unit, matter.session or "") for matter in matters if matter.session in sessions}
    # All that is asked about one plot's slate is weighed at once, whatever of it is looked at: no coral is offered twice.
    together: dict[tuple[str, str], list[MatterRow]] = defaultdict(list)
    for matter in view.matters_of({unit for unit, _ in wanted.values()}):
        if matter.kind == "tag" and matter.is_open:
            together[matter.unit, matter.session or ""].append(matter)
    digests = {name for slate in set(wanted.values()) for matter in together[slate] for name in matter.of}
    observations = {**observations, **{row.digest: row for row in view.observations(digests - observations.keys())}}
    found = {}
    for plot, session in sorted(set(wanted.values())):
        asked = together[plot, session]
        for id_, one in likely_corals(view, plot, sessions[session], asked, observations).items():
            several = len(next(matter.of for matter in asked if matter.id == id_)) > 1
            keys = {"coral": one.coral} | ({"observation": one.digest} if several else {})
            why = tuple(Fault(key, one.data) for key in one.why)
            label = f"{one.data['tag']} ({one.data['plot']})" if one.data["plot"] else str(one.data["tag"])
            found[id_] = Suggested("place", keys, one.probability, why, label)
    return found


# Wrong days and sites.


def _day(view: View, row: SessionRow) -> Suggested | None:
    """The boat day of its site that one slip of the pencil turns into the day that the session says."""
    said = day_of(row.session.values.get("day"))
    plots = {one.values.get("plot") for one in view.observations_of_session(row.session.id)}
    photographed = _photographed_on(view, row)
    explained: dict[tuple[int, bool], set[tuple[date, str]]] = defaultdict(set)
    for boat_day in view.things("boat_day").values():
        day = day_of(boat_day.get("day"))
        if said and day and boat_day.get("site") == row.site and (slip := _slip(said, day)):
            # A day on which its plots were taken out goes before one on which they were not.
            explained[_SLIPS.index(slip), not plots <= set(boat_day.get("plots", []))].add((day, slip))
    if not explained or len(explained[min(explained)]) > 1:
        return None  # two boat days explain it alike: nothing tells
    ((day, slip),) = explained[min(explained)]
    why = [Fault(f"settle.because_{slip}", {"day": str(day)})]
    if photographed == day:
        why.append(Fault("settle.because_photos", {"day": str(day)}))
    return Suggested("day", {"day": str(day)}, None, tuple(why), str(day))


def _photographed_on(view: View, row: SessionRow) -> date | None:
    """The one day on which all photos of its rows were taken, by the camera's clock."""
    shown = [photo["said"].get("camera_time") for photo in view.photos_of_session(row.session.id) if photo["line"]]
    days = {taken.date() for told in shown if (taken := time_of(told))}
    return days.pop() if len(days) == 1 else None


_SLIPS = ("swapped_day", "year", "month", "day")
"""What may have happened to a day on its way from the boat onto the page, the likeliest first. Common practice, no source."""


def _slip(said: date, day: date) -> str | None:
    """The one slip that makes of a day what was said."""
    if said.year == day.year and (said.month, said.day) == (day.day, day.month):
        return "swapped_day"
    differ = [part for part in ("year", "month", "day") if getattr(said, part) != getattr(day, part)]
    return differ[0] if len(differ) == 1 else None


def _site(view: View, row: SessionRow) -> Suggested | None:
    """The site at which all plots lie that the session observed."""
    plots = view.things("plot")
    at = {plots.get(str(one.values.get("plot")), {}).get("site") for one in view.observations_of_session(row.session.id)}
    if len(at) != 1 or None in at:
        return None
    (site,) = at
    name = str(view.things("site").get(str(site), {}).get("name", site))
    return Suggested("site", {"site": site}, None, (Fault("settle.because_plots", {"site": name}),), name)


# Cameras whose clock is off.

SAME_CAMERA_DAYS = 3
"""For so long a camera is taken to be as wrong as it was: the boat days of a trip. Chosen by us."""
STEADY_SECONDS = 120
"""What the phone's taking in of photos may vary by where each is taken in as it is taken. Chosen by us."""


def _clock(view: View, row: SessionRow) -> Suggested | None:
    """By how much the camera's clock was off: as ruled of another session of the device, else as the photos tell themselves."""
    day = day_of(row.day)
    said = [photo["said"] for photo in view.photos_of_session(row.session.id) if photo["line"]]
    taken = [(found, one.get("device_time")) for one in said if (found := time_of(one.get("camera_time")))]
    if day is None or not taken:
        return None
    tries = (_as_ruled_nearby(view, row, day), _by_phone(taken), _by_whole_days([when for when, _ in taken], day))
    for offset, why in filter(None, tries):
        moved = [shifted(when, offset) for when, _ in taken]
        if all(when is not None and not is_outside(when, day) for when in moved):
            return Suggested("clock", {"offset_s": str(offset)}, None, (why,), str(offset))
    return None


def _as_ruled_nearby(view: View, row: SessionRow, day: date) -> tuple[int, Fault] | None:
    settled = view.rows("SELECT id FROM matter WHERE kind = 'photo_time' AND ruling IS NOT NULL")
    ruled = {m.of[0]: m.ruling for m in view.matters(settled=True, ids=[row["id"] for row in settled]) if m.ruling}
    rulings = {entry.digest: entry for entry in view.ledger.with_digests(ruled.values())}
    near = [
        (abs((other - day).days), id_, other, offset)
        for id_, one in view.sessions(ruled).items()
        if one.session.device == row.session.device
        and (other := day_of(one.day))
        and (offset := offset_of(rulings[ruled[id_]].values.get("offset_s"))) is not None
    ]
    days, _, other, offset = min(near, default=(SAME_CAMERA_DAYS + 1, "", day, 0))
    return (offset, Fault("settle.because_same_camera", {"day": str(other)})) if days <= SAME_CAMERA_DAYS else None


def _by_phone(taken: Sequence[tuple[datetime, Any]]) -> tuple[int, Fault] | None:
    """Where the phone took each photo in as it was taken, its clock tells what the camera's is worth."""
    later = [int((local - when).total_seconds()) for when, told in taken if (local := time_of(str(told)[:19]))]
    if len(later) < max(2, len(taken)) or max(later) - min(later) > STEADY_SECONDS:
        return None
    return round(median(later)), Fault("settle.because_phone_clock")


def _by_whole_days(taken: Sequence[datetime], day: date) -> tuple[int, Fault] | None:
    days = {(day - when.date()).days for when in taken}
    return (86_400 * days.pop(), Fault("settle.because_whole_days")) if len(days) == 1 else None


# What was answered before an observation came in late or was corrected.


def _ruled_before(view: View, matters: Sequence[MatterRow]) -> dict[str, Suggested]:
    """By the matter's id, the newest answer given to a question of its kind about some of what it is about."""
    standing = _standing_rulings(view, {name for matter in matters for name in matter.of})
    found = {}
    for matter in matters:
        about = [
            (entry.at, entry.digest, ruling)
            for entry in standing
            if (ruling := as_ruling(entry)) and ruling.matter == matter.kind and not set(ruling.of).isdisjoint(matter.of)
        ]
        if matter.answers and about:
            ruling = max(about, key=lambda one: one[:2])[-1]
            if ruling.answer in matter.answers and set(ruling.of) != set(matter.of):
                why = Fault("settle.because_ruled", {"answer": ruling.answer})
                found[matter.id] = Suggested(ruling.answer, ruling.keys, None, (why,), ruling.answer)
    return found


def _standing_rulings(view: View, names: set[str]) -> list[Entry]:
    rulings = {entry.digest: entry for entry in view.ledger.mentioning(names) if entry.kind == "ruling"}
    gone = {name for entry in view.ledger.mentioning(rulings) for name in entry.replaces}
    sessions = view.sessions({entry.session for entry in rulings.values()})
    return [entry for digest, entry in rulings.items() if digest not in gone and sessions[entry.session].session.is_lead]
