"""Where the state is brought up to date: the ledger and the state side by side, and what every stratum looks up in them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable

from fieldkit.base.rows import SessionRow
from fieldkit.base.state import State
from fieldkit.ledger import Entry
from fieldkit.ledger.fold import LEAD, Session, Standing, opened, opens, standing
from fieldkit.ledger.store import Ledger
from fieldkit.protocol import Protocol
from fieldkit.settle.calendar import Dive, day_of
from fieldkit.settle.matter import Rulings
from fieldkit.settle.reading import home


class Desk:
    """Good until the next entries are appended: until then no session opens, so what was looked up of one stays right."""

    def __init__(self, ledger: Ledger, state: State, protocol: Callable[[str], Protocol | None]) -> None:
        """`protocol` gives the protocol of a digest, or None while its file has not arrived."""
        self.ledger = ledger
        self.state = state
        self.protocol = protocol
        self._opened: dict[str, Session] = {}

    def opened(self, ids: Iterable[str]) -> dict[str, Session]:
        """Device, role and whether they were taken back: all that decides whether the entries of these sessions have effect."""
        ids = set(ids)
        unknown = ids - self._opened.keys()
        if unknown:
            openings: dict[str, list[Entry]] = defaultdict(list)
            for entry in self.ledger.openings(unknown):
                openings[entry.session].append(entry)
            taken_back = self._imports_taken_back(entry for said in openings.values() for entry in said)
            self._opened |= {id_: opened(id_, openings.get(id_, ()), taken_back) for id_ in unknown}
        return {id_: self._opened[id_] for id_ in ids}

    def standing(self, entries: Collection[Entry]) -> Standing:
        """Which of these entries stand; with each, those that name it in `replaces` must be there."""
        return standing(entries, self.opened(entry.session for entry in entries))

    def rulings(self, sessions: Collection[str], *, at_once: int) -> Rulings:
        """The standing rulings upon these sessions: one by one, or upon two at once."""
        found = [
            entry
            for entry in self.ledger.mentioning(sessions)
            if entry.kind == "ruling" and isinstance(of := entry.values.get("of"), list) and len(of) == at_once
        ]
        around = self.ledger.mentioning([entry.digest for entry in found])
        return Rulings(self.standing([*found, *around]).heads.values())

    def observations(self, sessions: Collection[str]) -> list[Entry]:
        """Standing observations of these sessions."""
        own = [entry for entry in self.ledger.of_sessions(sessions) if entry.kind == "observation"]
        heads = self.standing([*own, *self.ledger.mentioning([entry.digest for entry in own])]).heads
        return [entry for entry in own if entry.digest in heads]

    def dive(self, row: SessionRow) -> Dive:
        """A session as settled, under the protocol that it names."""
        return as_dive(row, self.protocol)

    def _imports_taken_back(self, openings: Iterable[Entry]) -> frozenset[str]:
        """Of the imports that made these sessions: those that a lead took back whole."""
        imports = {import_ for entry in openings if isinstance(import_ := entry.values.get("import"), str)}
        retracts = [entry for entry in self.ledger.mentioning(imports) if entry.kind == "retract"]
        leads = {
            (entry.session, entry.device)
            for entry in self.ledger.openings({entry.session for entry in retracts})
            if opens(entry) and entry.values.get("role") == LEAD
        }
        return frozenset(entry.values["import"] for entry in retracts if (entry.session, entry.device) in leads) & imports


def as_dive(row: SessionRow, protocol: Callable[[str], Protocol | None]) -> Dive:
    """A session as settled; `protocol` gives the protocol of a digest, or None while its file has not arrived."""
    recorder = row.session.values.get("recorder")
    return Dive(
        id=row.session.id,
        site=row.site,
        day=day_of(row.day),
        visit=row.visit,
        protocol=protocol(row.protocol),
        practice=row.session.is_practice,
        recorder=recorder if isinstance(recorder, str) else None,
        set_aside=row.set_aside,
    )


def home_of(entry: Entry) -> str | None:
    """The unit to which an entry belongs by its own words alone; None where it belongs wherever what it names does.

    A unit is what is computed together: most often a plot; a session, for what it says without naming one; a coral in no plot.
    """
    if entry.family == "observation":
        return home(entry.values, entry.session)
    if entry.kind == "coral":
        named = (entry.values.get(name) for name in ("plot", "coral"))
        return next((unit for unit in named if isinstance(unit, str)), None)
    return None


def homes(entries: Iterable[Entry]) -> set[str]:
    return {unit for entry in entries if (unit := home_of(entry)) is not None}
