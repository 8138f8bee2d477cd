"""What was said of one coral: observations with what became of them, rulings, open matters, photos, and what was done to it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from fieldkit.base import CoralRow, MatterRow, ObservationRow, SessionRow, View
from fieldkit.errors import Fault
from fieldkit.ledger import Entry
from fieldkit.ledger.fold import standing
from fieldkit.register.fold import Coral, Worn
from fieldkit.settle.camera import offset_of, shifted, time_of
from fieldkit.settle.place import Plots, noted

_NO_VALUES = frozenset({"row", "plot", "coral", "tag", "position", "line", "searched"})


@dataclass(frozen=True)
class Ruled:
    """A lead's answer: who gave it, on which day by the base's clock, and why."""

    answer: str
    keys: Mapping[str, Any]
    why: str
    who: str
    day: str


@dataclass(frozen=True)
class Matter:
    """A question about the coral, about a session that observed it, or both; with its ruling, where it is settled."""

    id: str
    kind: str
    of: tuple[str, ...]
    why: Fault
    ruled: Ruled | None


@dataclass(frozen=True)
class Picture:
    """A photo of the coral, by the digest of its bytes; of each day, those of one row in a row."""

    photo: str
    day: str
    recorder: str
    view: str
    """What it shows, as handed in: whole, close, place; empty: not told."""
    taken: str | None = None
    """When, by the camera's clock as a ruling put it right: `2026-11-10T08:31:07`; None: the camera told no time."""


@dataclass(frozen=True)
class Seen:
    """One observation, as it was handed in, and what became of it."""

    digest: str
    session: str
    recorder: str
    typed_by: str
    day: str | None
    noted: str
    """What the slate calls the coral; empty: it was picked from the list."""
    values: Mapping[str, Any]
    fate: str
    photos: tuple[Picture, ...]
    matters: tuple[Matter, ...]
    """What was or is to be settled about it."""


@dataclass(frozen=True)
class Action:
    """Something that was done to the coral."""

    digest: str
    session: str
    recorder: str
    day: str | None
    done: tuple[str, ...]
    values: Mapping[str, Any]


def observations_of(view: View, coral: CoralRow) -> list[ObservationRow]:
    """Every observation of the coral: those that are settled to be of it, and those that call it by name but have no effect.

    Of those in question the day may be what is wrong: they count as its own where they call it by a tag of any time.
    """
    own = view.observations_of_coral(coral["id"])
    named = Plots([as_registered(coral)])
    # What has no coral: superseded, retracted, practice, not searched, not understood, or of a coral in question.
    rows = view.rows("SELECT digest, session, fate FROM fate WHERE unit = ? AND coral IS NULL", coral["unit"])
    day_of = {id_: row.day for id_, row in view.sessions({row["session"] for row in rows}).items()}
    silent = view.observations([row["digest"] for row in rows]) if rows else iter(())
    days = {row["digest"]: None if row["fate"] == "in a matter" else day_of[row["session"]] for row in rows}
    return [*own, *(row for row in silent if named.named(row.values, days[row.digest]))]


def as_registered(row: CoralRow) -> Coral:
    """The coral as the register's fold gives it."""
    worn = tuple(Worn(*tag) for tag in row["said"]["tags"])
    return Coral(row["id"], {**row["said"]["values"], "plot": row["plot"]}, worn, tuple(row["said"]["disputed"]), ())


def matters_of(view: View, coral: CoralRow, observations: Collection[ObservationRow]) -> list[Matter]:
    """Matters about the coral, about one of these observations, or about the session of one; the open ones first."""
    sessions = view.sessions({row.session for row in observations})
    visits = {f"{row.site} {row.visit}" for row in sessions.values()}
    units = {coral["unit"], *(f"session {id_}" for id_ in sessions), *visits}
    about = {*(row.digest for row in observations), *sessions}
    found = [row for row in view.matters_of(units) if coral["id"] in row.corals or about & set(row.of)]
    ruled = _rulings(view, found)
    told = (Matter(row.id, row.kind, row.of, row.why, ruled.get(row.ruling or "")) for row in found)
    return sorted({one.id: one for one in told}.values(), key=lambda one: (one.ruled is not None, one.kind, one.id))


def _rulings(view: View, matters: Iterable[MatterRow]) -> dict[str, Ruled]:
    entries = view.ledger.with_digests({row.ruling for row in matters if row.ruling})
    sessions = view.sessions({entry.session for entry in entries})
    return {entry.digest: _ruled(entry, sessions[entry.session]) for entry in entries}


def _ruled(entry: Entry, session: SessionRow) -> Ruled:
    keys = {name: value for name, value in entry.values.items() if name not in ("matter", "of", "answer", "why")}
    day = str(datetime.fromtimestamp(entry.at / 1000, UTC).date())
    return Ruled(str(entry.values["answer"]), keys, str(entry.values.get("why", "")), _recorder(session), day)


def seen(view: View, observations: Iterable[ObservationRow], matters: Iterable[Matter]) -> list[Seen]:
    """The observations in order of days, each with its photos and matters."""
    observations, matters = list(observations), list(matters)
    sessions = view.sessions({row.session for row in observations})
    photos = _photos(view, observations, sessions, _offsets(matters))
    about: dict[str, list[Matter]] = defaultdict(list)
    for matter in matters:
        for name in matter.of:
            about[name].append(matter)
    told = [
        Seen(
            digest=row.digest,
            session=row.session,
            recorder=_recorder(sessions[row.session]),
            typed_by=str(sessions[row.session].session.values.get("typed_by", "")),
            day=sessions[row.session].day,
            noted=noted(row.values),
            values={name: value for name, value in row.values.items() if name not in _NO_VALUES},
            fate=row.fate,
            photos=photos.get(str(row.values.get("row")), ()),
            matters=(*about[row.digest], *about[row.session]),
        )
        for row in observations
        if row.session in sessions
    ]
    return sorted(told, key=lambda one: (one.day or "", one.recorder, one.digest))


def _photos(
    view: View, observations: Iterable[ObservationRow], sessions: Mapping[str, SessionRow], offsets: Mapping[str, int]
) -> dict[str, tuple[Picture, ...]]:
    """By the row of a slate; a photo that several entries name is one."""
    of_line = {str(row.values["row"]): sessions[row.session] for row in observations if isinstance(row.values.get("row"), str)}
    found: dict[str, dict[str, Picture]] = defaultdict(dict)
    for photo in view.photos_of_lines(of_line):
        session = of_line[photo["line"]]
        if photo["photo"]:
            shows, told = str(photo["said"].get("view", "")), time_of(photo["said"].get("camera_time"))
            taken = shifted(told, offsets.get(session.session.id, 0)) if told else None
            picture = Picture(
                photo["photo"], session.day or "", _recorder(session), shows, taken.isoformat() if taken else None
            )
            found[photo["line"]].setdefault(photo["photo"], picture)
    return {line: tuple(pictures.values()) for line, pictures in found.items()}


def _offsets(matters: Iterable[Matter]) -> dict[str, int]:
    """By session, what a ruling adds to the times that its camera told."""
    clocks = {matter.of[0]: matter.ruled.keys for matter in matters if matter.ruled and matter.ruled.answer == "clock"}
    return {session: offset for session, keys in clocks.items() if (offset := offset_of(keys.get("offset_s"))) is not None}


def actions_of(view: View, coral: str) -> list[Action]:
    """What was done to the coral, in order of days; what was taken back or corrected is not among it."""
    said = [entry for entry in view.ledger.about([coral]) if entry.kind == "action" and entry.values.get("coral") == coral]
    around = said + view.ledger.mentioning([entry.digest for entry in said])
    sessions = view.sessions({entry.session for entry in around})
    heads = standing(around, {id_: row.session for id_, row in sessions.items()}).heads
    told = [_action(entry, sessions[entry.session]) for entry in said if entry.digest in heads]
    return sorted(told, key=lambda one: (one.day or "", one.digest))


def _action(entry: Entry, session: SessionRow) -> Action:
    done = entry.values.get("done", "other")
    values = {name: value for name, value in entry.values.items() if name in ("count", "tag", "note")}
    several = tuple(map(str, done)) if isinstance(done, list) else (str(done),)
    return Action(entry.digest, entry.session, _recorder(session), session.day, several, values)


def _recorder(row: SessionRow) -> str:
    return str(row.session.values.get("recorder", ""))
