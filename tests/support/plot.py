"""One plot, observed and ruled upon, settled without a base: what the tests of settling build on."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from functools import cache
from typing import Any

from fieldkit.ledger import Entry, mint
from fieldkit.protocol import Protocol
from fieldkit.register.fold import Coral, Group, Worn
from fieldkit.settle.calendar import Dive, Visitor, visits
from fieldkit.settle.fold import Settled, settle
from fieldkit.settle.life import Life
from fieldkit.settle.matter import Matter, Rulings
from fieldkit.settle.slates import Slates
from tests.support.programme import monitoring, name

PLOT, SITE, GENOTYPE = name("plot", "A"), name("site"), name("genotype")
PLANTED = "2024-03-01"

MONITORING = cache(monitoring)


def coral(tag: str, **values: Any) -> Coral:
    """A coral of the plot that wears this tag from its planting on."""
    said = {"plot": PLOT, "position": tag[-1], "planted_on": PLANTED, **values}
    return Coral(name("coral", tag), said, (Worn(tag, PLANTED),), (), (name("planting", tag),))


class Plot:
    """Corals with the tags 101, 102 …, planted on 2024-03-01, and groups of a counted plot where some are given."""

    def __init__(self, corals: int | Iterable[Coral] = 3, groups: Iterable[Group] = ()) -> None:
        made = [coral(f"{101 + i}") for i in range(corals)] if isinstance(corals, int) else corals
        self.corals = {one.id: one for one in made}
        self.groups = {(group.plot, group.genotype): group for group in groups}
        self.dives: dict[str, Dive] = {}
        self.said: list[Entry] = []
        self.rulings: list[Entry] = []
        self.named: dict[str, str] = {}

    def __repr__(self) -> str:
        """What was noted and ruled, with digests and sessions cut short: what a failing law shows."""
        said = [f"{entry.digest[:6]} {entry.session[:4]} {self.dives[entry.session].day} {entry.values}" for entry in self.said]
        return "\n".join(["Plot", *said, *(str(entry.values) for entry in self.rulings)])

    def dive(
        self, called: str, day: str = "2024-06-01", *, visit: str | None = None, protocol: Protocol | None = None, **said: Any
    ) -> str:
        """A session of that diver on that day; `visit` is a name that a person gave it. Returns its id."""
        session = name("session", called, day)
        self.dives[session] = Dive(
            session, SITE, date.fromisoformat(day), None, protocol or MONITORING(), practice=False, recorder=called
        )
        self.dives[session] = replace(self.dives[session], **said)
        if visit:
            self.named[session] = visit
        return session

    def see(self, session: str, tag: str | None, status: str | None = "alive", **values: Any) -> str:
        """An observation, by tag as noted unless `values` name the coral otherwise. Returns its digest."""
        said = {"plot": PLOT, **({"tag": tag} if tag else {}), **({"status": status} if status else {}), **values}
        return self._say("observation", session, said, self.said)

    def count(self, session: str, *numbers: object, genotype: str = GENOTYPE, **values: Any) -> str:
        """A count of a genotype: alive, dead, missing."""
        said = {name: str(number) for name, number in zip(("alive", "dead", "missing"), numbers, strict=False)}
        return self.see(session, None, None, genotype=genotype, **said, **values)

    def rule(self, kind: str, of: Iterable[str], answer: str, **keys: Any) -> str:
        """A ruling. Returns its digest."""
        values = {"matter": kind, "of": sorted(of), "answer": answer, **keys}
        return self._say("ruling", name("lead"), values, self.rulings)

    def settle(self, slates: Slates | None = None) -> Settled:
        """The plot as it stands."""
        sites = [
            Visitor(id_, dive.day, dive.protocol.same_visit_days if dive.protocol else 0, self.named.get(id_))
            for id_, dive in self.dives.items()
            if dive.day and not dive.practice and not dive.set_aside
        ]
        visit_of = visits(sites)
        dives = {id_: replace(dive, visit=visit_of.get(id_)) for id_, dive in self.dives.items()}
        return settle(self.said, self.corals, self.groups, dives, Rulings(self.rulings), slates or Slates())

    def _say(self, kind: str, session: str, values: dict[str, Any], said: list[Entry]) -> str:
        entry = mint(kind, device=name("device"), session=session, seq=len(said) + 1, at=0, values=values)
        said.append(entry)
        return entry.digest


def life(settled: Settled, tag: str = "101") -> Life:
    return next(one for one in settled.lives if one.coral.id == name("coral", tag))


def matters(settled: Settled, kind: str) -> list[Matter]:
    return [matter for matter in settled.matters if matter.kind == kind]


def the_matter(settled: Settled, kind: str) -> Matter:
    """The one matter of that kind."""
    (matter,) = matters(settled, kind)
    return matter


def open_kinds(settled: Settled) -> list[str]:
    return sorted(matter.kind for matter in settled.matters if matter.is_open)
