"""What a person is shown of a matter: who saw what, what the last visit said, and what is suggested, with its reasons."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from fieldkit.base import MatterRow, ObservationRow, SessionRow, View
from fieldkit.errors import Fault
from fieldkit.register.names import folded
from fieldkit.settle.place import noted
from fieldkit.settle.suggest import Candidate, Misread, suggest

# First what moves a figure, then what only a page shows wrong.
VALUE = {
    kind: place
    for place, kind in enumerate(
        (
            "rulings_differ", "same_slate", "date", "site", "tag", "history", "double", "count",
            "corrected_twice", "name", "value", "size", "continued_twice", "not_entitled",
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


@dataclass(frozen=True)
class Suggested:
    """An answer that is likely right. A person decides."""

    answer: str
    keys: Mapping[str, str]
    """What goes with it: the coral's id under `coral`, a digest under `observation`."""
    probability: float
    why: tuple[Fault, ...]
    label: str
    """The tag or position of the coral."""


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

    @property
    def touches_a_state(self) -> bool:
        """Whether a survival figure may change with the answer."""
        kind = self.matter.kind
        return kind in ("same_slate", "tag", "history", "date", "site", "count") or "status" in self.matter.fields


def cards(view: View, *, settled: bool = False, ids: Collection[str] | None = None) -> list[Card]:
    """Matters with what belongs to them, the most valuable first.

    Args:
        settled: those that were ruled on, too.
        ids: only these.
    """
    matters = [matter for matter in view.matters(settled=settled) if ids is None or matter.id in ids]
    digests = {name for matter in matters for name in matter.of}
    observations = {row.digest: row for row in view.observations(digests)}
    sessions = view.sessions({row.session for row in observations.values()} | digests)
    corals = {row["id"]: row for row in view.corals({coral for matter in matters for coral in matter.corals})}
    places = _Places(view)
    photos = _photos(view, observations.values())
    suggested = suggestions(view, [m for m in matters if m.is_open], observations, sessions)
    found = [
        Card(
            matter=matter,
            site=places.site(matter, sessions),
            plot=places.plot(matter.unit),
            corals=tuple(called(corals[coral]) for coral in matter.corals if coral in corals),
            seen=tuple(_seen(observations[name], sessions, corals, photos) for name in matter.of if name in observations),
            sessions=tuple(sessions[name] for name in matter.of if name in sessions),
            last_visit=_last_visit(view, matter),
            suggestion=suggested.get(matter.id),
        )
        for matter in matters
    ]
    return sorted(
        found,
        key=lambda card: (not card.touches_a_state, VALUE.get(card.matter.kind, 99), card.site, card.plot, card.matter.id),
    )


def called(coral: Mapping[str, Any]) -> str:
    """What people call a coral: its tag, else its position in the plot."""
    return str(coral["tag"] or coral["position"] or coral["id"][:8])


def suggestions(
    view: View,
    matters: Iterable[MatterRow],
    observations: Mapping[str, ObservationRow],
    sessions: Mapping[str, SessionRow],
) -> dict[str, Suggested]:
    """For each misread tag the coral that was most likely meant, as far as any was."""
    together: dict[tuple[str, str], list[MatterRow]] = defaultdict(list)
    for matter in matters:
        if matter.kind == "tag" and matter.session:
            together[matter.unit, matter.session].append(matter)
    found: dict[str, Suggested] = {}
    for (plot, session), asked in together.items():
        found |= _suggest_in_plot(view, plot, session, asked, observations, sessions)
    return found


def _suggest_in_plot(
    view: View,
    plot: str,
    session: str,
    asked: Sequence[MatterRow],
    observations: Mapping[str, ObservationRow],
    sessions: Mapping[str, SessionRow],
) -> dict[str, Suggested]:
    corals = view.corals_of_plot(plot)
    day = sessions[session].day if session in sessions else None
    read = {row.coral for row in view.observations_of_session(session) if row.coral}
    twice = {matter.corals[0] for matter in asked if len(matter.of) > 1 and matter.corals}
    absent = [
        Candidate(coral["id"], coral["tag"], coral["position"])
        for coral in corals
        if coral["id"] not in read | twice and not _is_gone(coral, day)
    ]
    labels = {coral["id"]: called(coral) for coral in corals}
    misread = {
        digest: (matter, Misread(digest, noted(observations[digest].values), observations[digest].values.get("position")))
        for matter in asked
        for digest in _doubtful(matter, observations, labels)
    }
    best = suggest([reading for _, reading in misread.values()], absent)
    found: dict[str, Suggested] = {}
    for digest, one in best.items():
        matter = misread[digest][0]
        keys = {"coral": one.coral} | ({"observation": digest} if len(matter.of) > 1 else {})
        why = tuple(Fault(key, one.data) for key in one.why)
        if matter.id not in found or one.probability > found[matter.id].probability:
            found[matter.id] = Suggested("place", keys, one.probability, why, labels[one.coral])
    return found


def _doubtful(matter: MatterRow, observations: Mapping[str, ObservationRow], labels: Mapping[str, str]) -> list[str]:
    """The readings of a matter that may be another coral's: of a tag read twice the later line, else all."""
    known = [digest for digest in matter.of if digest in observations]
    if len(known) < 2:
        return known
    exact = labels.get(matter.corals[0], "") if matter.corals else ""
    unlike = [digest for digest in known if folded(noted(observations[digest].values)) != folded(exact)]
    return unlike or [max(known, key=lambda digest: observations[digest].seq)]


def _is_gone(coral: Mapping[str, Any], day: str | None) -> bool:
    """Whether nobody would have looked for it that day: not yet planted, or withdrawn before."""
    planted, withdrawn = coral["planted_on"], coral["withdrawn_on"]
    return bool(day) and ((planted or "") > str(day) or bool(withdrawn and withdrawn < str(day)))


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
    )


def _photos(view: View, observations: Iterable[ObservationRow]) -> dict[str, tuple[str, ...]]:
    found: dict[str, list[str]] = defaultdict(list)
    for row in view.photos_of_lines({str(one.values.get("row")) for one in observations}):
        if row["photo"]:
            found[row["line"]].append(row["photo"])
    return {line: tuple(dict.fromkeys(digests)) for line, digests in found.items()}


def _last_visit(view: View, matter: MatterRow) -> dict[str, Any]:
    """What was settled on the visit before the one that the matter is about."""
    if len(matter.corals) != 1 or not matter.visit:
        return {}
    before = [row for row in view.seen(matter.corals) if row["state"] and row["visit"] < matter.visit]
    if not before:
        return {}
    last = max(before, key=lambda row: row["day"])
    values = last["said"]["values"]
    return {"day": last["day"], "state": last["state"], **{name: values[name] for name in matter.fields if name in values}}


class _Places:
    """Names of plots and sites."""

    def __init__(self, view: View) -> None:
        self._sites = view.things("site")
        self._plots = view.things("plot")

    def plot(self, unit: str) -> str:
        return str(self._plots.get(unit, {}).get("name", ""))

    def site(self, matter: MatterRow, sessions: Mapping[str, SessionRow]) -> str:
        site = self._plots.get(matter.unit, {}).get("site")
        named = site or next((sessions[name].site for name in (*matter.of, matter.session or "") if name in sessions), None)
        return str(self._sites.get(named or "", {}).get("name", ""))
