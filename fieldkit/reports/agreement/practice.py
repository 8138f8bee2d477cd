"""Practice scored against a lead's answers: what a recorder noted on a practice slate beside what a lead noted of those corals.

A lead's answers are the practice sessions that a lead wrote at the same site on the same day (`role` lead, `practice` true).
Practice stands outside every figure, so its corals are matched by what the slates call them, not by the register.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from fieldkit.base import SessionRow, View
from fieldkit.protocol import agree
from fieldkit.register.names import folded
from fieldkit.reports.agreement.evidence import ProtocolOf, readings_of
from fieldkit.settle.place import noted
from fieldkit.settle.reading import Reading

Answers = Mapping[str, Reading]
"""What one session noted, by plot and what it calls the coral."""


@dataclass(frozen=True)
class Score:
    """One practice session.

    Attributes:
        rows: how many corals it noted; `missed` those that the lead noted and it did not, `added` the other way round.
        fields: by name how many values could be compared, and how many agree. Empty: no lead answered that day.
    """

    session: str
    recorder: str
    day: str
    site: str
    lead: str | None
    """Who answered; None: no lead did."""
    rows: int
    missed: int
    added: int
    fields: Mapping[str, tuple[int, int]]

    @property
    def compared(self) -> int:
        return sum(n for n, _ in self.fields.values())

    @property
    def agreeing(self) -> int:
        return sum(agreeing for _, agreeing in self.fields.values())


def practice_scores(view: View, protocol_of: ProtocolOf) -> list[Score]:
    """The practice sessions of the crew, the newest first."""
    sessions = [row for row in view.sessions().values() if row.session.is_practice and not row.session.taken_back]
    said = _said(view, sessions, protocol_of)
    sites = {id_: str(thing.get("name", id_)) for id_, thing in view.things("site").items()}
    leads: dict[tuple[str | None, str | None], list[SessionRow]] = defaultdict(list)
    for row in sessions:
        if row.session.is_lead and said[row.session.id]:
            leads[row.site, row.day].append(row)
    scores = []
    for row in sessions:
        if not row.session.is_lead and said[row.session.id]:
            answered = leads.get((row.site, row.day), [])
            scores.append(_score(row, answered, said, sites.get(row.site or "", "")))
    return sorted(scores, key=lambda score: (score.day, score.session), reverse=True)


def _said(view: View, sessions: Iterable[SessionRow], protocol_of: ProtocolOf) -> dict[str, dict[str, Reading]]:
    ids = [row.session.id for row in sessions]
    rows = view.rows("SELECT digest FROM fate WHERE fate = 'practice' AND session IN (SELECT value FROM json_each(?))", ids)
    said: dict[str, dict[str, Reading]] = {id_: {} for id_ in ids}
    for _, reading in sorted(readings_of(view, [row["digest"] for row in rows], protocol_of).items(), reverse=True):
        coral = folded(noted(reading.said)) or str(reading.said.get("coral", ""))
        said[reading.dive.id][f"{reading.unit} {coral}"] = reading
    return said


def _score(row: SessionRow, answered: list[SessionRow], said: Mapping[str, Answers], site: str) -> Score:
    """Beside the lead with whom it shares the most corals: two leads may have answered for two slates."""
    own = said[row.session.id]
    lead = max(answered, key=lambda one: (len(own.keys() & said[one.session.id].keys()), one.session.id), default=None)
    theirs = said[lead.session.id] if lead else {}
    compared, agreeing = Counter[str](), Counter[str]()
    for coral in sorted(own.keys() & theirs.keys()):
        for name, fits in _fields(own[coral], theirs[coral]):
            compared[name] += 1
            agreeing[name] += fits
    return Score(
        session=row.session.id,
        recorder=_recorder(row),
        day=row.day or "",
        site=site,
        lead=_recorder(lead) if lead else None,
        rows=len(own),
        missed=len(theirs.keys() - own.keys()),
        added=len(own.keys() - theirs.keys()) if lead else 0,
        fields={name: (n, agreeing[name]) for name, n in compared.items()},
    )


def _fields(own: Reading, lead: Reading) -> list[tuple[str, bool]]:
    """The fields that the lead answered, in the order of the protocol; what was left out is not agreed on."""
    fields = lead.protocol.fields_of("coral") if lead.protocol else ()
    answered = [field for field in fields if field.kind != "text" and field.name in lead.values]
    return [(f.name, f.name in own.values and agree(f, own.values[f.name], lead.values[f.name])) for f in answered]


def _recorder(row: SessionRow) -> str:
    return str(row.session.values.get("recorder", ""))
