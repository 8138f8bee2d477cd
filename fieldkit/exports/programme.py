"""What stands in scope, read once: names, corals with their fates, protocols, and who may be named."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import Any

from fieldkit.base import Base, CoralRow, CountedVisitRow, SeenRow, SessionRow, View
from fieldkit.exports.scope import Scope
from fieldkit.protocol import Field, Protocol
from fieldkit.register.names import folded
from fieldkit.reports.behind import Behind, behind
from fieldkit.reports.question import Question


class Programme:
    """The part of a base that a scope holds. Good as long as its view."""

    def __init__(self, base: Base, view: View, scope: Scope, language: str) -> None:
        self.id, self.name, self.language = base.id, base.programme_name, language
        self.view, self.scope, self._protocol_of = view, scope, base.protocol
        self.sites, self.plots, self.genotypes = (view.things(kind) for kind in ("site", "plot", "genotype"))

    @property
    def is_whole(self) -> bool:
        """Whether every coral is in it."""
        return not self.scope.where

    @cached_property
    def subjects(self) -> tuple[Behind, ...]:
        """The corals planted by the as-of day and the groups of counted plots, each with its interval as known then."""
        return behind(self.view, Question(where=self.scope.where, as_of=self.scope.as_of)).rows

    @cached_property
    def corals(self) -> dict[str, CoralRow]:
        """The tagged corals among them, in the order of plots and tags."""
        known = {row["id"]: row for row in self.view.corals()}
        return {row.coral: known[row.coral] for row in self.subjects if row.coral is not None}

    def seen(self) -> Iterator[tuple[CoralRow, SeenRow]]:
        """The visits in scope, each with its coral; one in dispute counts on the last of its days."""
        for seen in self.view.seen():
            coral = self.corals.get(seen["coral"])
            if coral is not None and self.scope.holds(seen["day"] or max(seen["said"]["days"].values(), default=None)):
                yield coral, seen

    def counted(self) -> Iterator[CountedVisitRow]:
        """The same of counted plots."""
        for visit in self.view.counted_visits():
            if self.has_group(visit["unit"], visit["genotype"]) and self.scope.holds(visit["day"]):
                yield visit

    def has_group(self, plot: str, genotype: str) -> bool:
        """Whether the corals of a genotype in a counted plot are in scope."""
        return (self.label_of(plot), self.accession(genotype)) in self._groups

    @cached_property
    def _groups(self) -> set[tuple[str, str]]:
        """The counted groups among them, by the labels of plot and genotype."""
        return {(row.labels["plot"], row.labels["genotype"]) for row in self.subjects if row.coral is None}

    @cached_property
    def plots_here(self) -> dict[str, dict[str, Any]]:
        """The plots in scope: all, or those with a coral or a group in it."""
        if self.is_whole:
            return self.plots
        labels = {row.labels["plot"] for row in self.subjects}
        return {id_: plot for id_, plot in self.plots.items() if self.label_of(id_) in labels}

    @cached_property
    def sites_here(self) -> dict[str, dict[str, Any]]:
        if self.is_whole:
            return self.sites
        there = {plot.get("site") for plot in self.plots_here.values()}
        return {id_: site for id_, site in self.sites.items() if id_ in there}

    @cached_property
    def genotypes_here(self) -> dict[str, dict[str, Any]]:
        if self.is_whole:
            return self.genotypes
        there = {row.labels["genotype"] for row in self.subjects}
        return {id_: one for id_, one in self.genotypes.items() if one.get("accession") in there}

    @cached_property
    def sessions(self) -> dict[str, SessionRow]:
        """Those on days in scope."""
        return {id_: row for id_, row in self.view.sessions().items() if self.scope.holds(row.day)}

    def protocols(self, *, observing: bool = False) -> list[Protocol]:
        """The newest version of each protocol under which sessions were written, or observations; the most used first."""
        of = "EXISTS (SELECT 1 FROM ledger WHERE session = session.id AND kind = 'observation')" if observing else "1"
        rows = self.view.rows(f"SELECT protocol, count(*) AS n FROM session WHERE {of} GROUP BY protocol")
        used: Counter[str] = Counter()
        for row in rows:
            if protocol := self._protocol_of(row["protocol"] or ""):
                used[protocol.name] += row["n"]
        known = [self._protocol_of(str(said.get("digest", ""))) for said in self.view.things("protocol").values()]
        newest = {one.name: one for one in sorted(filter(None, known), key=lambda one: one.version)}
        return sorted((one for name, one in newest.items() if name in used), key=lambda one: (-used[one.name], one.name))

    def protocol_of(self, session: str) -> Protocol | None:
        """The protocol that a session was written under."""
        row = self.sessions.get(session)
        return self._protocol_of(row.protocol) if row else None

    @cached_property
    def observed_fields(self) -> tuple[Mapping[str, Field], str]:
        """What is observed of a coral, by name, and the protocol that says so, as people cite it."""
        protocols = self.protocols(observing=True)
        fields = {field.name: field for protocol in reversed(protocols) for field in protocol.fields_of("coral")}
        return fields, "; ".join(f"{one.name} version {one.version}" for one in protocols)

    def site_of(self, plot: str | None) -> str:
        """The name of a plot's site."""
        site = self.plots.get(plot or "", {}).get("site")
        return str(self.sites.get(site or "", {}).get("name", ""))

    def plot_name(self, plot: str | None) -> str:
        return str(self.plots.get(plot or "", {}).get("name", ""))

    def label_of(self, plot: str) -> str:
        """What figures call a plot."""
        return f"{self.site_of(plot)} {self.plot_name(plot)}".strip()

    def accession(self, genotype: str | None) -> str:
        return str(self.genotypes.get(genotype or "", {}).get("accession", ""))

    def species(self, coral: Mapping[str, Any]) -> str:
        """That of its genotype, or its own where the genotype has none."""
        return str(self.genotypes.get(coral["genotype"] or "", {}).get("species") or coral.get("species") or "")

    def person(self, written: object) -> str | None:
        """Somebody as a session names them, if they are to be named and consented; else None."""
        return str(written) if self.scope.people and folded(str(written)) in self._consented else None

    def recorder_of(self, observation: str) -> str | None:
        """Who noted an observation, if they are to be named."""
        session = self.sessions.get(self._session_of.get(observation, ""))
        return self.person(session.session.values.get("recorder")) if session else None

    @cached_property
    def _session_of(self) -> dict[str, str]:
        return {row["digest"]: row["session"] for row in self.view.rows("SELECT digest, session FROM fate")}

    def words(self, note: object) -> str | None:
        """A note as it was typed. It may name anybody, so it goes out with the people."""
        return str(note) if self.scope.people and note else None

    @cached_property
    def _consented(self) -> set[str]:
        people = self.view.things("person").values()
        willing = [said for said in people if said.get("consent") == "yes"]
        return {folded(str(said[name])) for said in willing for name in ("initials", "name") if said.get(name)}


def text_of(value: object) -> str | None:
    """What was said, where it is a text: an entry may hold anything under any name."""
    return value if isinstance(value, str) else None
