"""What a person is shown of a matter: who saw what, what the last visit said, and what is suggested, with its reasons."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from fieldkit.base import MatterInBrief, MatterRow, ObservationRow, SeenRow, SessionRow, View
from fieldkit.ledger import Entry
from fieldkit.reports.suggestions import Suggested as Suggested
from fieldkit.reports.suggestions import suggestions
from fieldkit.settle.camera import time_of
from fieldkit.settle.matter import matter_id
from fieldkit.settle.place import noted

# First what moves a figure, then what only a page shows wrong.
VALUE = {
    kind: place
    for place, kind in enumerate(
        (
            "rulings_differ", "same_slate", "date", "site", "tag", "history", "double", "count",
            "corrected_twice", "name", "value", "size", "photo_time", "continued_twice", "not_entitled",
        )
    )
}  # fmt: skip


@dataclass(frozen=True)
class Seen:
    """One of the observations that a matter is about."""

    digest: str
    session: str
    recorder: str
    day: str
    noted: str
    """What the slate calls the coral."""
    values: Mapping[str, Any]
    fate: str
    photos: tuple[str, ...]
    line: str = ""
    """The row's id."""


@dataclass(frozen=True)
class Shot:
    """A photo of a session whose camera's clock is in doubt."""

    photo: str
    camera_time: str
    view: str


@dataclass(frozen=True, slots=True)
class Listed:
    """A matter in its place among the others."""

    matter: MatterInBrief
    site: str
    plot: str

    @property
    def touches_a_state(self) -> bool:
        """Whether a survival figure may change with the answer."""
        kind = self.matter.kind
        return kind in ("same_slate", "tag", "history", "date", "site", "count") or "status" in self.matter.fields


@dataclass(frozen=True)
class Card:
    """A matter, with all that is needed to settle it."""

    matter: MatterRow
    site: str
    plot: str
    corals: tuple[str, ...]
    """Tags or positions of the corals that it is about."""
    seen: tuple[Seen, ...]
    sessions: tuple[SessionRow, ...]
    """Of a matter about whole sessions."""
    last_visit: Mapping[str, Any] = field(default_factory=dict)
    """What was settled of the coral on the visit before: `day`, `state`, and the fields in question."""
    suggestion: Suggested | None = None
    shots: tuple[Shot, ...] = ()
    """Of a matter about a camera's clock: the session's photos, those of the slate first, then in order of time."""


def listed(view: View, *, settled: bool = False, ids: Collection[str] | None = None) -> list[Listed]:
    """Matters, the most valuable first, without what belongs to them: quick, however many there are.

    Args:
        settled: those that were ruled on, too.
        ids: only these.
    """
    found = view.matters_in_brief(settled=settled, ids=ids)
    places = _Places(view, {session for one in found for session in one.sessions})
    told = [Listed(one, places.site(one), places.plot(one.unit)) for one in found]
    return sorted(told, key=lambda one: (*_worth(one), one.site, one.plot, one.matter.id))


def _worth(one: Listed) -> tuple[bool, int]:
    return (not one.touches_a_state, VALUE.get(one.matter.kind, len(VALUE)))


def cards(view: View, *, settled: bool = False, ids: Collection[str] | None = None) -> list[Card]:
    """The same with what belongs to them."""
    matters = view.matters(settled=settled, ids=ids)
    by_id = {matter.id: matter for matter in matters}
    digests = {name for matter in matters for name in matter.of}
    observations = {row.digest: row for row in view.observations(digests)}
    sessions = view.sessions({row.session for row in observations.values()} | digests)
    corals = {row["id"]: row for row in view.corals({coral for matter in matters for coral in matter.corals})}
    photos = _photos(view, observations.values())
    suggested = suggestions(view, [m for m in matters if m.is_open], observations, sessions)
    last_visits = _last_visits(view, matters)
    return [
        Card(
            matter=(matter := by_id[one.matter.id]),
            site=one.site,
            plot=one.plot,
            corals=tuple(called(corals[coral]) for coral in matter.corals if coral in corals),
            seen=tuple(_seen(observations[name], sessions, corals, photos) for name in matter.of if name in observations),
            sessions=tuple(sessions[name] for name in matter.of if name in sessions),
            last_visit=last_visits.get(matter.id, {}),
            suggestion=suggested.get(matter.id),
            shots=_shots(view, matter) if matter.kind == "photo_time" else (),
        )
        for one in listed(view, settled=settled, ids=ids)
    ]


def answered_differently(view: View, matter: MatterRow) -> tuple[str, list[Entry]]:
    """Of rulings that differ: the id of the matter that they answer, and they themselves, the earliest first. Whoever answers
    that matter anew replaces them all."""
    rulings = sorted(view.ledger.with_digests(matter.of), key=lambda entry: (entry.at, entry.digest))
    return matter_id(rulings[0].values["matter"], rulings[0].values["of"]), rulings


def called(coral: Mapping[str, Any]) -> str:
    """What people call a coral: its tag, else its position in the plot."""
    return str(coral["tag"] or coral["position"] or coral["id"][:8])


def _seen(
    row: ObservationRow,
    sessions: Mapping[str, SessionRow],
    corals: Mapping[str, Mapping[str, Any]],
    photos: Mapping[str, tuple[str, ...]],
) -> Seen:
    session = sessions[row.session]
    coral = corals.get(row.coral or "")
    name = noted(row.values) or (called(coral) if coral else "")
    return Seen(
        row.digest,
        row.session,
        str(session.session.values.get("recorder", "")),
        session.day or "",
        name,
        {key: value for key, value in row.values.items() if key not in ("row", "plot", "coral", "tag", "position", "line")},
        row.fate,
        photos.get(str(row.values.get("row")), ()),
        str(row.values.get("row", "")),
    )


def _photos(view: View, observations: Iterable[ObservationRow]) -> dict[str, tuple[str, ...]]:
    found: dict[str, list[str]] = defaultdict(list)
    for row in view.photos_of_lines({str(one.values.get("row")) for one in observations}):
        if row["photo"]:
            found[row["line"]].append(row["photo"])
    return {line: tuple(dict.fromkeys(digests)) for line, digests in found.items()}


def _shots(view: View, matter: MatterRow) -> tuple[Shot, ...]:
    said = [row["said"] for row in view.photos_of_session(matter.of[0])]
    told = [Shot(one["photo"], one["camera_time"], str(one.get("view", ""))) for one in said if time_of(one.get("camera_time"))]
    return tuple(sorted(told, key=lambda shot: (shot.view != "slate", shot.camera_time, shot.photo)))


def _last_visits(view: View, matters: Iterable[MatterRow]) -> dict[str, dict[str, Any]]:
    """By matter, what was settled of its coral on the visit before the one that it is about."""
    of_one = [(matter, matter.visit, matter.corals[0]) for matter in matters if len(matter.corals) == 1 and matter.visit]
    seen: dict[str, list[SeenRow]] = defaultdict(list)
    for row in view.seen({coral for _, _, coral in of_one}):
        if row["state"]:
            seen[row["coral"]].append(row)
    found = {}
    for matter, visit, coral in of_one:
        if before := [row for row in seen[coral] if row["visit"] < visit]:
            last = max(before, key=lambda row: row["day"] or "")
            values = last["said"]["values"]
            told = {name: values[name] for name in matter.fields if name in values}
            found[matter.id] = {"day": last["day"], "state": last["state"], **told}
    return found


class _Places:
    """Names of plots and sites."""

    def __init__(self, view: View, sessions: Collection[str]) -> None:
        self._sites = view.things("site")
        self._plots = view.things("plot")
        self._site_of = view.sites_of_sessions(sessions)

    def plot(self, unit: str) -> str:
        return str(self._plots.get(unit, {}).get("name", ""))

    def site(self, matter: MatterInBrief) -> str:
        of_plot = self._plots.get(matter.unit, {}).get("site")
        named = of_plot or next((self._site_of[session] for session in matter.sessions if session in self._site_of), None)
        return str(self._sites.get(named or "", {}).get("name", ""))
