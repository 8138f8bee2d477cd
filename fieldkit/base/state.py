"""The state on disk: rows in, rows out. Nothing is decided here; what stands in the rows comes from the folds.

Where a row holds more than its columns, `said` is the canonical JSON of it, so that two bases that agree hold equal bytes.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import asdict
from typing import Any

from fieldkit.base.migrations import TABLES
from fieldkit.ledger import canonical
from fieldkit.ledger.fold import Session
from fieldkit.settle.counting import CountedGroup
from fieldkit.settle.histories import History
from fieldkit.settle.life import Life
from fieldkit.settle.matter import Matter

_OF_PLOTS = ("coral", "seen", "counted", "counted_visit", "fate", "matter")


def packed(value: Any) -> str:
    """Canonical JSON as text, for a column."""
    return canonical(value).decode("utf-8")


class State:
    """The tables of the state, on the base's connection."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._db = connection

    def clear(self) -> None:
        for table in TABLES:
            self._db.execute(f"DELETE FROM {table}")

    def digest(self) -> str:
        """SHA-256 over every row of the state, in order: equal on two bases if and only if they agree."""
        total = hashlib.sha256()
        for table in TABLES:
            for row in self._db.execute(f"SELECT * FROM {table} ORDER BY 1, 2, 3"):
                total.update(json.dumps([table, *row], ensure_ascii=False).encode("utf-8"))
        return total.hexdigest()

    # sessions

    def sessions(self, ids: Collection[str]) -> dict[str, dict[str, Any]]:
        return {row["id"]: row for row in self.rows("SELECT * FROM session WHERE id IN (SELECT value FROM json_each(?))", ids)}

    def sessions_with(self, column: str, values: Collection[str]) -> dict[str, dict[str, Any]]:
        """Sessions by site, protocol or import."""
        sql = f"SELECT * FROM session WHERE {column} IN (SELECT value FROM json_each(?))"
        return {row["id"]: row for row in self.rows(sql, values)}

    def sessions_of_units(self, units: Collection[str]) -> set[str]:
        """Sessions with observations of these plots."""
        sql = "SELECT DISTINCT session FROM fate WHERE unit IN (SELECT value FROM json_each(?))"
        return {row["session"] for row in self.rows(sql, units)}

    def sites_of_plots(self, plots: Collection[str]) -> dict[str, str]:
        sql = "SELECT id, scope FROM thing WHERE kind = 'plot' AND scope IS NOT NULL AND id IN (SELECT value FROM json_each(?))"
        return {row["id"]: row["scope"] for row in self.rows(sql, plots)}

    def boat_days(self, sites: Collection[str]) -> dict[str, tuple[str, ...]]:
        """Days on which somebody was out, by site."""
        found: dict[str, set[str]] = defaultdict(set)
        for row in self.rows(
            "SELECT scope, said FROM thing WHERE kind = 'boat_day' AND scope IN (SELECT value FROM json_each(?))", sites
        ):
            if isinstance(day := json.loads(row["said"]).get("day"), str):
                found[row["scope"]].add(day)
        return {site: tuple(sorted(days)) for site, days in found.items()}

    def put_session(self, session: Session, site: str | None, day: str | None, visit: str | None, *, set_aside: bool) -> None:
        said = packed({name: value for name, value in asdict(session).items() if name != "id"})
        values = session.values
        self._db.execute(
            "INSERT OR REPLACE INTO session VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            [session.id, site, day, visit, set_aside, _text(values.get("protocol")), _text(values.get("import")), said],
        )

    def put_visit(self, session: str, visit: str | None) -> None:
        self._db.execute("UPDATE session SET visit = ? WHERE id = ?", [visit, session])

    def put_photos(self, session: str, photos: Iterable[tuple[str, Mapping[str, Any]]]) -> None:
        self._db.execute("DELETE FROM photo WHERE unit = ?", [session])
        self._db.executemany(
            "INSERT INTO photo VALUES (?, ?, ?, ?, ?)",
            [(d, session, _text(said.get("photo")), _text(said.get("row")), packed(said)) for d, said in photos],
        )

    # slates

    def put_slates(self, unit: str, pairs: Iterable[tuple[str, str, str | None, str | None]]) -> None:
        self._db.execute("DELETE FROM slate WHERE unit = ?", [unit])
        self._db.executemany("INSERT INTO slate VALUES (?, ?, ?, ?, ?)", [(unit, *pair) for pair in pairs])

    def slates(self, sessions: Collection[str]) -> list[dict[str, Any]]:
        named = "(SELECT value FROM json_each(?1))"
        return self.rows(f"SELECT * FROM slate WHERE one IN {named} OR other IN {named}", sessions)

    # registered things

    def put_thing(
        self, kind: str, id_: str, scope: str | None, name: str | None, values: Mapping[str, Any], disputed: Iterable[str]
    ) -> None:
        self._db.execute(
            "INSERT OR REPLACE INTO thing VALUES (?, ?, ?, ?, ?, ?)",
            [kind, id_, scope, name, packed(values), packed(sorted(disputed))],
        )

    def drop_thing(self, kind: str, id_: str) -> None:
        self._db.execute("DELETE FROM thing WHERE kind = ? AND id = ?", [kind, id_])

    def things_named(self, kind: str, scope: str | None, name: str) -> list[str]:
        sql = "SELECT id FROM thing WHERE kind = ? AND scope IS ? AND name = ? ORDER BY id"
        return [row[0] for row in self._db.execute(sql, [kind, scope, name])]

    # plots

    def forget_units(self, units: Collection[str]) -> None:
        """Take out every row of these plots; they are about to be computed anew."""
        for table in _OF_PLOTS:
            self._db.execute(f"DELETE FROM {table} WHERE unit IN (SELECT value FROM json_each(?))", [json.dumps(list(units))])

    def put_matters(self, matters: Iterable[Matter]) -> None:
        self._db.executemany(
            "INSERT OR REPLACE INTO matter VALUES (?, ?, ?, ?, ?)",
            [(matter.id, matter.unit, matter.kind, matter.ruling, packed(_matter(matter))) for matter in matters],
        )

    def replace_matters(self, unit: str, matters: Iterable[Matter]) -> None:
        """The matters of a unit that is computed by itself: a session, a slate, a registered thing, a name."""
        self._db.execute("DELETE FROM matter WHERE unit = ?", [unit])
        self.put_matters(matters)

    def put_fates(self, fates: Iterable[tuple[str, str, str, str | None, str]]) -> None:
        """Rows of digest, unit, fate, coral, session."""
        self._db.executemany("INSERT OR REPLACE INTO fate VALUES (?, ?, ?, ?, ?)", fates)

    def put_lives(self, lives: Iterable[tuple[str, Life]]) -> None:
        """Corals, each with its unit."""
        lives = list(lives)
        self._db.executemany(
            f"INSERT OR REPLACE INTO coral VALUES ({', '.join('?' * 28)})", [_coral(unit, life) for unit, life in lives]
        )
        self._db.executemany(
            "INSERT OR REPLACE INTO seen VALUES (?, ?, ?, ?, ?, ?)",
            [
                (life.coral.id, visit.visit, unit, visit.state, str(visit.days[visit.state]) if visit.state else None,
                 packed({"days": {state: str(day) for state, day in visit.days.items()}, "values": visit.values,
                         "digests": visit.digests}))
                for unit, life in lives
                for visit in life.visits
            ],
        )  # fmt: skip

    def put_groups(self, groups: Iterable[CountedGroup]) -> None:
        for found in groups:
            group = found.group
            said = {"answers": _answers(found), "planted": [[day, count] for day, count in group.planted]}
            self._db.execute(
                "INSERT OR REPLACE INTO counted VALUES (?, ?, ?, ?, ?, ?)",
                [group.plot, group.genotype, found.planted, _text(found.planted_on and str(found.planted_on)), group.method,
                 packed(said)],
            )  # fmt: skip
            self._db.executemany(
                "INSERT OR REPLACE INTO counted_visit VALUES (?, ?, ?, ?)",
                [
                    (group.plot, group.genotype, str(visit.day),
                     packed({"numbers": visit.numbers, "worst": visit.worst, "best": visit.best}))
                    for visit in found.visits
                ],
            )  # fmt: skip

    def rows(self, sql: str, names: Collection[str] | None = None, *rest: Any) -> list[dict[str, Any]]:
        """Rows of a query as dictionaries; `names`, if given, is the first parameter, as JSON."""
        cursor = self._db.execute(sql, ([] if names is None else [json.dumps(list(names))]) + list(rest))
        columns = [column[0] for column in cursor.description]
        return [dict(zip(columns, row, strict=True)) for row in cursor]


def unpacked_session(row: Mapping[str, Any]) -> Session:
    said = json.loads(row["said"])
    for name in ("opening", "disputed", "continued_twice", "not_entitled"):
        said[name] = tuple(said[name])
    return Session(id=row["id"], **said)


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) else None


def _matter(matter: Matter) -> dict[str, Any]:
    return {
        "of": matter.of,
        "why": {"key": matter.why.key, "data": {name: str(value) for name, value in matter.why.data.items()}},
        "corals": matter.corals,
        "visit": matter.visit,
        "session": matter.session,
        "fields": [{"field": name, "said": [[d, v] for d, v in sorted(said.items())]} for name, said in matter.fields.items()],
        "answers": matter.answers,
    }


def _coral(unit: str, life: Life) -> tuple[Any, ...]:
    coral, values = life.coral, life.coral.values
    newest = max((v for v in life.visits if v.state), key=lambda v: (v.days[v.state], v.visit), default=None)  # type: ignore[index]
    said = {
        "values": values,
        "tags": [[worn.tag, worn.since, worn.until] for worn in coral.tags],
        "disputed": coral.disputed,
        "findings": [[finding.kind, [str(day) for day in finding.days]] for finding in life.settled.findings],
    }
    return (
        coral.id, unit, coral.plot, _text(values.get("genotype")), _text(values.get("species")), _text(values.get("method")),
        _text(values.get("position")), coral.tag, _text(values.get("planted_on")), _text(values.get("precision")),
        _text(values.get("known_from")), _text(values.get("withdrawn_on")), life.settled.fate, life.settled.left_out,
        life.settled.entry, life.is_disputed, str(newest.days[newest.state]) if newest and newest.state else None,
        _text(life.cause), *_ages(life.settled), *_ages(life.worst), *_ages(life.best), packed(said),
    )  # fmt: skip


def _ages(found: History) -> tuple[int | None, int | None, int | None]:
    if found.lost is None or found.open is None:
        return None, None, None
    return found.lost.left, found.lost.right, found.open.right


def _answers(found: CountedGroup) -> dict[str, Any]:
    """Weighted intervals by answer and treatment."""
    return {
        answer: {
            "lost": [[w.left, w.right, w.weight] for w in history.lost],
            "open": [[w.left, w.right, w.weight] for w in history.open],
        }
        for answer, history in (("settled", found.settled), ("worst", found.worst), ("best", found.best))
        if history
    }
