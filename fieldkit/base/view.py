"""The state, read: one moment of it, for reports, pages and commands. Decides nothing, writes nothing."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Collection, Iterator, Mapping
from typing import Any, cast

from fieldkit.base.histories import Histories
from fieldkit.base.rows import (
    CoralRow,
    CountedRow,
    CountedVisitRow,
    FateRow,
    MatterInBrief,
    MatterRow,
    ObservationRow,
    PhotoRow,
    SeenRow,
    SessionRow,
)
from fieldkit.base.state import State, as_session
from fieldkit.errors import Fault
from fieldkit.ledger import Entry
from fieldkit.ledger.fold import standing
from fieldkit.ledger.store import Ledger
from fieldkit.register.names import folded, looks

_RECKONED_WITH = "(fate IS NOT NULL OR body IS NULL)"  # or the disk was too full to bring the state up to date


class View:
    """One moment of a base. Open it with `Base.view()`; it is good until that block ends."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._state = State(connection)
        self.ledger = Ledger(connection)

    # the register

    def things(self, kind: str) -> dict[str, dict[str, Any]]:
        """Registered things of a kind (site, plot, genotype, person, permit, lot, boat_day, event, protocol …), by id."""
        return {row["id"]: json.loads(row["said"]) for row in self.rows("SELECT id, said FROM thing WHERE kind = ?", kind)}

    def corals(self, ids: Collection[str] | None = None) -> list[CoralRow]:
        """The corals, all of them or those named."""
        return cast("list[CoralRow]", self._of("SELECT * FROM coral", "id", ids))

    def corals_of_plot(self, plot: str) -> list[CoralRow]:
        rows = self.rows("SELECT * FROM coral WHERE plot = ? ORDER BY position, id", plot)
        return cast("list[CoralRow]", _unpacked(rows))

    def corals_tagged(self, tag: str) -> set[str]:
        """Ids of the corals that wear this tag, or ever wore it."""
        return {row["coral"] for row in self.rows("SELECT coral FROM worn WHERE tag = ?", folded(tag))}

    def corals_tagged_from(self, beginning: str) -> set[str]:
        """Ids of the corals that ever wore a tag that begins so."""
        sql = "SELECT DISTINCT coral FROM worn WHERE tag >= ? AND tag < ?"
        return {row["coral"] for row in self.rows(sql, folded(beginning), f"{folded(beginning)}\U0010ffff")}

    def corals_tagged_alike(self, tag: str) -> set[str]:
        """Ids of the corals that ever wore a tag that may be taken for this one, or for which it may be; those of it, too."""
        return {row["coral"] for row in self.rows("SELECT DISTINCT coral FROM worn WHERE looks = ?", looks(tag))}

    def seen(self, corals: Collection[str] | None = None) -> list[SeenRow]:
        """What was settled of each coral on each visit."""
        return cast("list[SeenRow]", self._of("SELECT * FROM seen", "coral", corals, order="coral, visit"))

    def counted(self) -> list[CountedRow]:
        """The groups of counted plots."""
        return cast("list[CountedRow]", self._of("SELECT * FROM counted", "unit", None, order="unit, genotype"))

    def counted_visits(self) -> list[CountedVisitRow]:
        rows = self._of("SELECT * FROM counted_visit", "unit", None, order="unit, genotype, place")
        return cast("list[CountedVisitRow]", rows)

    def plantings_of_groups(self) -> list[tuple[Entry, str | None]]:
        """Standing plantings of counted groups, each with its day."""
        made = [entry for entry in self.ledger.of_kind("planting") if "count" in entry.values]
        around = made + self.ledger.mentioning([entry.digest for entry in made])
        known = self.sessions({entry.session for entry in around})
        heads = standing(around, {id_: row.session for id_, row in known.items()}).heads
        return [(entry, known[entry.session].day) for entry in made if entry.digest in heads]

    def actions(self) -> list[tuple[Entry, SessionRow]]:
        """What was done to corals and plots, each with its session; what was taken back or corrected is not among it."""
        said = self.ledger.of_kind("action")
        around = said + self.ledger.mentioning([entry.digest for entry in said])
        known = self.sessions({entry.session for entry in around})
        heads = standing(around, {id_: row.session for id_, row in known.items()}).heads
        return [(entry, known[entry.session]) for entry in said if entry.digest in heads]

    # sessions and observations

    def sessions(self, ids: Collection[str] | None = None) -> dict[str, SessionRow]:
        return {row["id"]: as_session(row) for row in self._rows_of("SELECT * FROM session", "id", ids)}

    def sites_of_sessions(self, ids: Collection[str]) -> dict[str, str | None]:
        """The sites of these sessions, as settled; quicker than the sessions."""
        return {row["id"]: row["site"] for row in self._rows_of("SELECT id, site FROM session", "id", ids)}

    def observations(self, digests: Collection[str] | None = None) -> Iterator[ObservationRow]:
        """Observations with their fate, all in order of arrival or those named. One that was redacted says nothing more."""
        rows = self._rows_of(
            "SELECT ledger.digest, ledger.session, seq, body, fate, coral FROM ledger LEFT JOIN fate USING (digest)",
            "ledger.digest",
            digests,
            order="place",
            where=f"kind = 'observation' AND {_RECKONED_WITH}",
        )
        for row in rows:
            values = json.loads(row["body"])["values"] if row["body"] else {}
            fate = row["fate"] or "redacted"
            yield ObservationRow(row["digest"], row["session"], row["seq"], values, fate, row["coral"])

    def observations_of_session(self, session: str) -> list[ObservationRow]:
        rows = self.rows("SELECT digest FROM ledger WHERE session = ? AND kind = 'observation'", session)
        return list(self.observations([row["digest"] for row in rows]))

    def observations_of_coral(self, coral: str) -> list[ObservationRow]:
        digests = [row["digest"] for row in self.rows("SELECT digest FROM fate WHERE coral = ?", coral)]
        return list(self.observations(digests))

    def fates(self) -> dict[str, int]:
        """How many observations have each fate."""
        rows = self.rows(
            "SELECT coalesce(fate, 'redacted') AS fate, count(*) AS n FROM ledger LEFT JOIN fate USING (digest)"
            f" WHERE kind = 'observation' AND {_RECKONED_WITH} GROUP BY 1 ORDER BY 1"
        )
        return {row["fate"]: row["n"] for row in rows}

    def fates_of(self, digests: Collection[str]) -> list[FateRow]:
        """What became of these observations; those that were redacted are not among them."""
        return cast("list[FateRow]", self._rows_of("SELECT * FROM fate", "digest", digests))

    def photos_of_session(self, session: str) -> list[PhotoRow]:
        return cast("list[PhotoRow]", self._of("SELECT * FROM photo", "unit", [session], order="digest"))

    def photos_of_lines(self, lines: Collection[str]) -> list[PhotoRow]:
        """Photos that show these rows of slates."""
        return cast("list[PhotoRow]", self._of("SELECT * FROM photo", "line", lines, order="line, digest"))

    def redacted(self) -> frozenset[str]:
        """Digests of entries and photos that must go wherever they turn up."""
        return self._state.redacted()

    def protocols_heard_of(self) -> frozenset[str]:
        """Digests of the protocol files with which the state was computed."""
        return self._state.protocols()

    # matters

    def matters(self, *, settled: bool = False, ids: Collection[str] | None = None) -> list[MatterRow]:
        """The open matters, and with `settled` the others too; all of them or those named."""
        where = "1" if settled else "ruling IS NULL"
        return [_matter(row) for row in self._rows_of("SELECT * FROM matter", "id", ids, order="kind, id", where=where)]

    def matters_in_brief(self, *, settled: bool = False, ids: Collection[str] | None = None) -> list[MatterInBrief]:
        """The same matters, told by what SQLite can tell without all of them being read: quick where there are thousands."""
        rows = self._rows_of(
            "SELECT id, kind, unit, json_extract(said, '$.why.key') AS why, json_extract(said, '$.session') AS told,"
            " (SELECT group_concat(json_extract(value, '$.field')) FROM json_each(matter.said, '$.fields')) AS fields,"
            " (SELECT group_concat(DISTINCT fate.session) FROM json_each(matter.said, '$.of')"
            " JOIN fate ON digest = value) AS seen,"
            # An id is shorter than a digest, which need not be looked for among the sessions.
            " CASE WHEN length(json_extract(said, '$.of[0]')) < 64 THEN"
            " (SELECT group_concat(named.id) FROM json_each(matter.said, '$.of')"
            " JOIN session AS named ON named.id = value) END AS about"
            " FROM matter",
            "id",
            ids,
            order="id",
            where="1" if settled else "ruling IS NULL",
        )
        return [_in_brief(row) for row in rows]

    def settled_last(self, most: int) -> list[str]:
        """Ids of the matters that were ruled on last, the latest first."""
        sql = (
            "SELECT DISTINCT matter.id, json_extract(CAST(body AS TEXT), '$.at') AS at FROM matter"
            " JOIN ledger ON digest = ruling ORDER BY at DESC, matter.id LIMIT ?"
        )
        return [row["id"] for row in self.rows(sql, most)]

    def matters_of(self, units: Collection[str]) -> list[MatterRow]:
        """Matters, settled ones too, of these plots, sessions (`session <id>`) and visits (`<site> <visit>`)."""
        return [_matter(row) for row in self._rows_of("SELECT * FROM matter", "unit", units, order="kind, id")]

    def matters_beginning(self, id_: str) -> list[MatterRow]:
        """The matters whose id begins so; one, where enough of the id is given."""
        return [_matter(row) for row in self.rows("SELECT * FROM matter WHERE substr(id, 1, ?) = ? LIMIT 10", len(id_), id_)]

    def digest(self) -> str:
        """SHA-256 of the whole state: equal on two bases if and only if they agree."""
        return self._state.digest()

    def rows(self, sql: str, *parameters: Any) -> list[dict[str, Any]]:
        """Rows of a query as dictionaries; for what the other methods do not give."""
        return self._state.rows(sql, *parameters)

    def histories(self) -> Histories:
        """What figures need of all tagged corals, in order of unit and id."""
        return self._state.histories()

    def _of(self, sql: str, column: str, names: Collection[str] | None, *, order: str | None = None) -> list[dict[str, Any]]:
        return _unpacked(self._rows_of(sql, column, names, order=order))

    def _rows_of(
        self, sql: str, column: str, names: Collection[str] | None, *, order: str | None = None, where: str = "1"
    ) -> list[dict[str, Any]]:
        ordered = f" ORDER BY {order or column}"
        if names is None:
            return self.rows(f"{sql} WHERE {where}{ordered}")
        return self.rows(f"{sql} WHERE {where} AND {column} IN (SELECT value FROM json_each(?)){ordered}", list(names))


def _unpacked(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [row | {"said": json.loads(row["said"])} for row in rows]


def _in_brief(row: Mapping[str, Any]) -> MatterInBrief:
    fields, seen, about, told = (
        tuple(row[name].split(",")) if row[name] else () for name in ("fields", "seen", "about", "told")
    )
    sessions = seen or about or told
    return MatterInBrief(row["id"], row["kind"], row["why"], row["unit"], fields, sessions, is_about_sessions=bool(about))


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
