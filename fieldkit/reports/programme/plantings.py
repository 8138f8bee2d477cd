"""Planting days as they were written down, on a phone or on the page: what each made, and what of it still stands."""

from __future__ import annotations

from dataclasses import dataclass

from fieldkit.base import SessionRow, View
from fieldkit.ledger import Entry
from fieldkit.ledger.fold import standing
from fieldkit.protocol import Protocol
from fieldkit.protocol.number import whole

NEWEST = 30
"""Planting sessions that are listed: about a season of one crew. Chosen by us."""


@dataclass(frozen=True)
class Outplanting:
    """One session of planting: the plantings that stand, in the order in which they were written."""

    session: SessionRow
    planted: tuple[Entry, ...]
    taken_back: int

    @property
    def id(self) -> str:
        return self.session.session.id

    @property
    def recorder(self) -> str:
        return str(self.session.session.values.get("recorder", ""))

    @property
    def plots(self) -> list[str]:
        return sorted({str(entry.values.get("plot")) for entry in self.planted})

    @property
    def corals(self) -> int:
        """How many it planted; in a counted plot as many as were counted."""
        return sum(_count(entry) for entry in self.planted)


def outplantings(view: View) -> list[Outplanting]:
    """The newest planting sessions, the newest day first."""
    rows = view.rows(
        "SELECT DISTINCT ledger.session AS id, day FROM ledger JOIN session ON session.id = ledger.session"
        " WHERE kind = 'planting' AND body IS NOT NULL ORDER BY day DESC, ledger.session DESC LIMIT ?",
        NEWEST,
    )
    return [one for row in rows if (one := outplanting(view, row["id"]))]


def outplanting(view: View, session: str) -> Outplanting | None:
    """One planting session; None where nothing was planted in it."""
    own = [entry for entry in view.ledger.of_sessions([session]) if entry.kind == "planting"]
    if not own:
        return None
    around = own + view.ledger.mentioning([entry.digest for entry in own])
    known = view.sessions({entry.session for entry in around})
    if session not in known:
        return None
    heads = standing(around, {id_: row.session for id_, row in known.items()}).heads
    stands = sorted((entry for entry in own if entry.digest in heads), key=lambda entry: (entry.seq, entry.digest))
    return Outplanting(known[session], tuple(stands), len(own) - len(stands))


def outplanting_protocol(protocols: list[Protocol], view: View) -> Protocol | None:
    """The protocol by which corals are planted: the newest adopted one that asks for no state of a coral."""
    adopted = {said.get("digest") for said in view.things("protocol").values()}
    fit = [one for one in protocols if one.digest in adopted and one.with_role("status") is None]
    return max(fit, key=lambda one: (one.version, one.name, one.digest), default=None)


def _count(entry: Entry) -> int:
    count = whole(entry.values.get("count"))
    return 1 if count is None else count
