"""The state, read: one moment of it, for reports, pages and commands. Decides nothing, writes nothing."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from fieldkit.base.state import State, unpacked_session
from fieldkit.errors import Fault
from fieldkit.ledger import Entry
from fieldkit.ledger.fold import Session, standing
from fieldkit.ledger.store import Ledger


@dataclass(frozen=True)
class SessionRow:
    """A session as it says itself, and when and where it was as settled."""

    session: Session
    site: str | None
    day: str | None
    visit: str | None
    set_aside: bool


@dataclass(frozen=True)
class MatterRow:
    """A matter as it stands."""

    id: str
    kind: str
    of: tuple[str, ...]
    why: Fault
    unit: str
    corals: tuple[str, ...]
    visit: str | None
    session: str | None
    fields: Mapping[str, Mapping[str, Any]]
    """Field to digest to value, where observations differ."""
    answers: tuple[str, ...]
    ruling: str | None

    @property
    def is_open(self) -> bool:
        return self.ruling is None


@dataclass(frozen=True)
class ObservationRow:
    """An observation as it was handed in, and what became of it."""

    digest: str
    session: str
    seq: int
    values: Mapping[str, Any]
    fate: str
    coral: str | None


class View:
    """One moment of a base. Open it with `Base.view()`; it is good until that block ends."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._db = connection
        self._state = State(connection)
        self.ledger = Ledger(connection)

    # the register

    def things(self, kind: str) -> dict[str, dict[str, Any]]:
        """Registered things of a kind (site, plot, genotype, person, permit, lot, boat_day, event, protocol …), by id."""
        return {row["id"]: json.loads(row["said"]) for row in self.rows("SELECT id, said FROM thing WHERE kind = ?", kind)}

    def corals(self, ids: Collection[str] | None = None) -> list[dict[str, Any]]:
        """Rows of the coral table, all of them or those named; `said` unpacked."""
        rows = self._of("SELECT * FROM coral", "id", ids)
        return [row | {"said": json.loads(row["said"])} for row in rows]

    def corals_of_plot(self, plot: str) -> list[dict[str, Any]]:
        rows = self.rows("SELECT * FROM coral WHERE plot = ? ORDER BY position, id", plot)
        return [row | {"said": json.loads(row["said"])} for row in rows]

    def seen(self, corals: Collection[str] | None = None) -> list[dict[str, Any]]:
        """What was settled of each coral on each visit: coral, visit, state, day, and `said` with days, values and digests."""
        rows = self._of("SELECT * FROM seen", "coral", corals)
        return [row | {"said": json.loads(row["said"])} for row in rows]

    def counted(self) -> list[dict[str, Any]]:
        """The counted groups: unit (the plot), genotype, planted, planted_on, method, and `said` with their intervals."""
        return [row | {"said": json.loads(row["said"])} for row in self.rows("SELECT * FROM counted ORDER BY unit, genotype")]

    def counted_visits(self) -> list[dict[str, Any]]:
        rows = self.rows("SELECT * FROM counted_visit ORDER BY unit, genotype, day")
        return [row | {"said": json.loads(row["said"])} for row in rows]

    def plantings_of_groups(self) -> list[tuple[Entry, str | None]]:
        """Standing plantings of counted groups, each with its day."""
        made = [entry for entry in self.ledger.of_kind("planting") if "count" in entry.values]
        around = made + self.ledger.mentioning([entry.digest for entry in made])
        known = self.sessions({entry.session for entry in around})
        heads = standing(around, {id_: row.session for id_, row in known.items()}).heads
        return [(entry, known[entry.session].day) for entry in made if entry.digest in heads]

    # sessions and observations

    def sessions(self, ids: Collection[str] | None = None) -> dict[str, SessionRow]:
        return {
            row["id"]: SessionRow(unpacked_session(row), row["site"], row["day"], row["visit"], bool(row["set_aside"]))
            for row in self._of("SELECT * FROM session", "id", ids)
        }

    def observations(self, digests: Collection[str] | None = None) -> Iterator[ObservationRow]:
        """Observations with their fate, all in order of arrival or those named."""
        rows = self._of(
            "SELECT ledger.digest, ledger.session, seq, body, fate, coral FROM ledger JOIN fate USING (digest)",
            "ledger.digest",
            digests,
            order="place",
        )
        for row in rows:
            values = json.loads(row["body"])["values"]
            yield ObservationRow(row["digest"], row["session"], row["seq"], values, row["fate"], row["coral"])

    def observations_of_session(self, session: str) -> list[ObservationRow]:
        digests = [row["digest"] for row in self.rows("SELECT digest FROM fate WHERE session = ?", session)]
        return list(self.observations(digests))

    def observations_of_coral(self, coral: str) -> list[ObservationRow]:
        digests = [row["digest"] for row in self.rows("SELECT digest FROM fate WHERE coral = ?", coral)]
        return list(self.observations(digests))

    def fates(self) -> dict[str, int]:
        """How many observations have each fate."""
        return {row["fate"]: row["n"] for row in self.rows("SELECT fate, count(*) AS n FROM fate GROUP BY fate ORDER BY fate")}

    def fates_of(self, digests: Collection[str]) -> list[dict[str, Any]]:
        """Rows of digest, unit, fate, coral, session."""
        return self._of("SELECT * FROM fate", "digest", digests)

    def photos_of_session(self, session: str) -> list[dict[str, Any]]:
        rows = self.rows("SELECT * FROM photo WHERE unit = ? ORDER BY digest", session)
        return [row | {"said": json.loads(row["said"])} for row in rows]

    def photos_of_lines(self, lines: Collection[str]) -> list[dict[str, Any]]:
        """Photos that show these rows of slates."""
        rows = self._of("SELECT * FROM photo", "line", lines)
        return [row | {"said": json.loads(row["said"])} for row in rows]

    # matters

    def matters(self, *, settled: bool = False) -> list[MatterRow]:
        """The open matters, and with `settled` the others too."""
        sql = "SELECT * FROM matter" + ("" if settled else " WHERE ruling IS NULL") + " ORDER BY kind, id"
        return [_matter(row) for row in self.rows(sql)]

    def matters_beginning(self, id_: str) -> list[MatterRow]:
        """The matters whose id begins so; one, where enough of the id is given."""
        return [_matter(row) for row in self.rows("SELECT * FROM matter WHERE substr(id, 1, ?) = ? LIMIT 10", len(id_), id_)]

    def digest(self) -> str:
        """SHA-256 of the whole state: equal on two bases if and only if they agree."""
        return self._state.digest()

    def rows(self, sql: str, *parameters: Any) -> list[dict[str, Any]]:
        return self._state.rows(sql, None, *parameters)

    def _of(self, sql: str, column: str, names: Iterable[str] | None, *, order: str | None = None) -> list[dict[str, Any]]:
        ordered = f" ORDER BY {order or column}"
        if names is None:
            return self._state.rows(sql + ordered)
        return self._state.rows(f"{sql} WHERE {column} IN (SELECT value FROM json_each(?)){ordered}", list(names))


def _matter(row: Mapping[str, Any]) -> MatterRow:
    said = json.loads(row["said"])
    return MatterRow(
        id=row["id"],
        kind=row["kind"],
        of=tuple(said["of"]),
        why=Fault(said["why"]["key"], said["why"]["data"]),
        unit=row["unit"],
        corals=tuple(said["corals"]),
        visit=said["visit"],
        session=said["session"],
        fields={one["field"]: dict(one["said"]) for one in said["fields"]},
        answers=tuple(said["answers"]),
        ruling=row["ruling"],
    )
