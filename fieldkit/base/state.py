"""The state on disk: rows in, rows out. Nothing is decided here; what stands in the rows comes from the folds.

Where a row holds more than its columns, `said` is the JSON of it with sorted keys, so that two bases that agree hold equal
bytes.
"""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import fields
from typing import Any

from fieldkit.base.histories import Histories, packed, unpacked
from fieldkit.base.rows import SessionRow
from fieldkit.base.tables import TABLES
from fieldkit.ledger.fold import Session
from fieldkit.register.names import folded, looks
from fieldkit.settle.counting import CountedGroup
from fieldkit.settle.histories import History
from fieldkit.settle.life import Life
from fieldkit.settle.matter import Matter
from fieldkit.settle.questions import SlatePair

_KEYS = {
    "coral": ("id",),
    "worn": ("coral", "tag"),
    "history": ("unit",),
    "seen": ("coral", "visit"),
    "counted": ("unit", "genotype"),
    "counted_visit": ("unit", "genotype", "place"),
    "fate": ("digest",),
    "matter": ("id", "unit"),
}
"""The tables whose rows are replaced unit by unit, and what tells their rows apart: their first columns."""

_NAMED = "(SELECT value FROM json_each(?))"  # a set of any size: the number of parameters is limited, the length of one is not
_IN_SESSION = tuple(field.name for field in fields(Session) if field.name != "id")
_ENCODER = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
_TUPLES = ("opening", "disputed", "plots", "continued_twice", "not_entitled")


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
            width = len(self._db.execute(f"SELECT * FROM {table} LIMIT 0").description)
            for row in self._db.execute(f"SELECT * FROM {table} ORDER BY {', '.join(map(str, range(1, width + 1)))}"):
                total.update(json.dumps([table, *row], ensure_ascii=False, default=bytes.hex).encode("utf-8"))
        return total.hexdigest()

    def rows(self, sql: str, *parameters: Any) -> list[dict[str, Any]]:
        """Rows of a query as dictionaries; a collection among the parameters is a set of names for `json_each`."""
        given = [_json(one) if isinstance(one, Collection) and not isinstance(one, str) else one for one in parameters]
        cursor = self._db.execute(sql, given)
        columns = [column[0] for column in cursor.description]
        return [dict(zip(columns, row, strict=True)) for row in cursor]

    def histories(self) -> Histories:
        """What figures need of all tagged corals."""
        return unpacked(self._db.execute("SELECT names, told, answered FROM history ORDER BY unit"))

    # what it was computed with

    def protocols(self) -> frozenset[str]:
        """Digests of the protocol files that were here; no part of the state, which depends on those that sessions name."""
        row = self._db.execute("SELECT value FROM base WHERE name = 'protocols'").fetchone()
        return frozenset(json.loads(row[0])) if row else frozenset()

    def folded(self) -> int:
        """The place in the ledger up to which the state goes: what arrived later is kept, but not reckoned with yet."""
        row = self._db.execute("SELECT value FROM base WHERE name = 'folded'").fetchone()
        return int(row[0]) if row else 0

    def put_folded(self, place: int) -> None:
        self._db.execute("INSERT OR REPLACE INTO base VALUES ('folded', ?)", [str(place)])

    def put_protocols(self, digests: Iterable[str]) -> None:
        self._db.execute("INSERT OR REPLACE INTO base VALUES ('protocols', ?)", [_json(sorted(digests))])

    # what was redacted

    def redacted(self) -> frozenset[str]:
        """Digests of entries and photos that count as absent."""
        return frozenset(row[0] for row in self._db.execute("SELECT digest FROM redacted"))

    def put_redacted(self, digests: Iterable[str]) -> None:
        self._db.executemany("INSERT OR IGNORE INTO redacted VALUES (?)", [(digest,) for digest in digests])

    # sessions

    def sessions(self, ids: Collection[str]) -> dict[str, SessionRow]:
        return self._sessions(f"id IN {_NAMED}", ids)

    def sessions_with(self, column: str, values: Collection[str]) -> set[str]:
        """Ids of the sessions at these sites, of these protocols or of these imports."""
        return self._names(f"SELECT id FROM session WHERE {column} IN {_NAMED}", values)

    def sessions_of_visit(self, site: str, visit: str) -> dict[str, SessionRow]:
        return self._sessions("site = ? AND visit = ?", site, visit)

    def sessions_at_plots(self, plots: Collection[str]) -> set[str]:
        """Sessions with observations that name these plots."""
        return self._names(f"SELECT DISTINCT session FROM fate WHERE unit IN {_NAMED}", plots)

    def sessions_showing(self, photos: Collection[str]) -> set[str]:
        return self._names(f"SELECT unit FROM photo WHERE photo IN {_NAMED}", photos)

    def put_session(self, row: SessionRow, *, is_visit: bool) -> None:
        """A session without its visit, which is its site's to say; the one that it had stays until then.

        Args:
            is_visit: whether it has a part in the visits of its site.
        """
        one = row.session
        said = _packed({name: getattr(one, name) for name in _IN_SESSION})
        named = (row.protocol or None, one.of_import, _text(one.values.get("visit")))
        self._db.execute(
            "INSERT INTO session (id, site, day, set_aside, protocol, import, named, visits, said)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"
            " ON CONFLICT (id) DO UPDATE SET site = excluded.site, day = excluded.day, set_aside = excluded.set_aside,"
            " protocol = excluded.protocol, import = excluded.import, named = excluded.named, visits = excluded.visits,"
            " said = excluded.said",
            [one.id, row.site, row.day, row.set_aside, *named, is_visit, said],
        )

    def drop_session(self, id_: str) -> None:
        self._db.execute("DELETE FROM session WHERE id = ?", [id_])

    def put_photos(self, session: str, photos: Iterable[tuple[str, Mapping[str, Any]]]) -> None:
        self._db.execute("DELETE FROM photo WHERE unit = ?", [session])
        self._db.executemany(
            "INSERT INTO photo VALUES (?, ?, ?, ?, ?)",
            [(d, session, said["photo"], _text(said.get("row")) or "", _packed(said)) for d, said in photos],
        )

    def camera_times(self, sessions: Collection[str]) -> dict[str, list[str]]:
        """Of each session, what the camera's clock told of each photo of one of its rows."""
        found: dict[str, list[str]] = defaultdict(list)
        for session, said in self._db.execute(
            f"SELECT unit, said FROM photo WHERE line <> '' AND unit IN {_NAMED}", [_json(sessions)]
        ):
            if isinstance(told := json.loads(said).get("camera_time"), str):
                found[session].append(told)
        return found

    # visits and slates

    def sites(self) -> set[str]:
        return {row[0] for row in self._db.execute("SELECT DISTINCT site FROM session WHERE site IS NOT NULL")}

    def calendar(self, sites: Collection[str], apart: Collection[str]) -> list[dict[str, Any]]:
        """What decides the visits of these sites, session by session, and what was decided; the same of sessions apart."""
        columns = "SELECT id, site, day, visit, protocol, named, visits FROM session WHERE"
        there = f"{columns} site IN {_NAMED} AND (visits OR visit IS NOT NULL)"
        return self.rows(f"{there} UNION {columns} id IN {_NAMED}", sites, apart)

    def put_visits(self, visits: Mapping[str, str | None]) -> None:
        self._db.executemany("UPDATE session SET visit = ? WHERE id = ?", [(visit, id_) for id_, visit in visits.items()])

    def visits_of_several(self) -> list[tuple[str, str]]:
        """Site and visit, where several sessions made it."""
        sql = "SELECT site, visit FROM session WHERE site IS NOT NULL AND visit IS NOT NULL GROUP BY 1, 2 HAVING count(*) > 1"
        return list(self._db.execute(sql))

    def take_out_slates(self, units: Collection[str]) -> set[SlatePair]:
        """Take out the pairs of these visits: a pair may have moved from one to another. Returns them."""
        found = set(self._db.execute(f"SELECT one, other, retyped, ruling FROM slate WHERE unit IN {_NAMED}", [_json(units)]))
        self._db.execute(f"DELETE FROM slate WHERE unit IN {_NAMED}", [_json(units)])
        return found

    def put_slates(self, unit: str, pairs: Iterable[SlatePair]) -> None:
        self._db.executemany("INSERT INTO slate VALUES (?, ?, ?, ?, ?)", [(unit, *pair) for pair in pairs])

    def slates(self, sessions: Collection[str]) -> list[SlatePair]:
        """Pairs of sessions that look like one slate; which of the two was typed again, and the ruling that says so."""
        sql = "SELECT one, other, retyped, ruling FROM slate WHERE"
        names = _json(sessions)
        return list(self._db.execute(f"{sql} one IN {_NAMED} UNION {sql} other IN {_NAMED}", [names, names]))

    # registered things

    def put_thing(
        self, kind: str, id_: str, scope: str | None, name: str | None, values: Mapping[str, Any], disputed: Iterable[str]
    ) -> None:
        self._db.execute(
            "INSERT OR REPLACE INTO thing VALUES (?, ?, ?, ?, ?, ?)",
            [kind, id_, scope, name, _packed(values), _packed(sorted(disputed))],
        )

    def drop_thing(self, kind: str, id_: str) -> None:
        self._db.execute("DELETE FROM thing WHERE kind = ? AND id = ?", [kind, id_])

    def name_of_thing(self, kind: str, id_: str) -> tuple[str | None, str] | None:
        """Within what it is named, and its name; None where it has none."""
        row = self._db.execute("SELECT scope, name FROM thing WHERE kind = ? AND id = ?", [kind, id_]).fetchone()
        return (row[0], row[1]) if row and row[1] else None

    def things_named(self, kind: str, scope: str | None, name: str) -> list[str]:
        sql = "SELECT id FROM thing WHERE kind = ? AND scope IS ? AND name = ? ORDER BY id"
        return [row[0] for row in self._db.execute(sql, [kind, scope, name])]

    def sites_of_plots(self, plots: Collection[str]) -> dict[str, str]:
        sql = f"SELECT id, scope FROM thing WHERE kind = 'plot' AND scope IS NOT NULL AND id IN {_NAMED}"
        return dict(self._db.execute(sql, [_json(plots)]))

    def boat_days(self, sites: Collection[str]) -> dict[str, tuple[str, ...]]:
        """Days on which somebody was out, by site."""
        found: dict[str, set[str]] = defaultdict(set)
        sql = f"SELECT scope, said FROM thing WHERE kind = 'boat_day' AND scope IN {_NAMED}"
        for site, said in self._db.execute(sql, [_json(sites)]):
            if isinstance(day := json.loads(said).get("day"), str):
                found[site].add(day)
        return {site: tuple(sorted(days)) for site, days in found.items()}

    # what is replaced unit by unit

    def put_matters(self, units: Collection[str], matters: Iterable[Matter]) -> None:
        """The matters of these units, all of them: of sessions, slates, registered things, names or plots."""
        self._replace("matter", units, [(one.id, one.unit, one.kind, one.ruling, _packed(_matter(one))) for one in matters])

    def put_fates(self, units: Collection[str], fates: Iterable[tuple[str, str, str, str | None, str]]) -> None:
        """Rows of digest, unit, fate, coral, session."""
        self._replace("fate", units, fates)

    def put_lives(self, units: Collection[str], lives: Iterable[tuple[str, Life]]) -> None:
        """Corals, each with its unit."""
        lives = list(lives)
        corals = [_coral(unit, life) for unit, life in lives]
        self._replace("coral", units, corals)
        self._replace("history", units, packed(corals))
        self._replace("worn", units, {row for unit, life in lives for row in _worn(unit, life)})
        self._replace("seen", units, [row for unit, life in lives for row in _seen(unit, life)])

    def put_groups(self, units: Collection[str], groups: Iterable[CountedGroup]) -> None:
        groups = list(groups)
        self._replace("counted", units, [_counted(found) for found in groups])
        self._replace("counted_visit", units, [row for found in groups for row in _counted_visits(found)])

    def _replace(self, table: str, units: Collection[str], rows: Iterable[tuple[Any, ...]]) -> None:
        """Give these units these rows and no others. Most stay as they are: a visit of years ago is settled anew with its plot,
        and writing its row again would cost more than the settling.
        """
        kept = set(self._db.execute(f"SELECT * FROM {table} WHERE unit IN {_NAMED}", [_json(units)]))
        due = set(rows)
        key = _KEYS[table]
        where = " AND ".join(f"{column} = ?" for column in key)
        gone = [row[: len(key)] for row in kept - due]
        self._db.executemany(f"DELETE FROM {table} WHERE {where}", gone)
        new = sorted(due - kept, key=lambda row: row[: len(key)])
        if new:
            places = ", ".join("?" * len(new[0]))
            # A coral that left a plot for another may have its old row there still, until that plot's turn comes.
            self._db.executemany(f"INSERT OR REPLACE INTO {table} VALUES ({places})", new)

    def _sessions(self, condition: str, *parameters: Any) -> dict[str, SessionRow]:
        sql = f"SELECT id, site, day, visit, set_aside, said FROM session WHERE {condition} ORDER BY id"
        return {row["id"]: as_session(row) for row in self.rows(sql, *parameters)}

    def _names(self, sql: str, names: Collection[str]) -> set[str]:
        return {row[0] for row in self._db.execute(sql, [_json(names)])} if names else set()


def as_session(row: Mapping[str, Any]) -> SessionRow:
    said = json.loads(row["said"])
    said |= {name: tuple(said[name]) for name in _TUPLES}
    return SessionRow(Session(id=row["id"], **said), row["site"], row["day"], row["visit"], bool(row["set_aside"]))


def _packed(value: Any) -> str:
    """What has no column of its own, in the one form that it has on every base."""
    return _ENCODER.encode(value)


def _json(names: Iterable[str]) -> str:
    return json.dumps(list(names))


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
        _text(life.cause), *_ages(life.settled), *_ages(life.worst), *_ages(life.best), _packed(said),
    )  # fmt: skip


def _worn(unit: str, life: Life) -> Iterator[tuple[str, str, str, str]]:
    for worn in life.coral.tags:
        yield life.coral.id, folded(worn.tag), unit, looks(worn.tag)


def _seen(unit: str, life: Life) -> Iterator[tuple[Any, ...]]:
    for visit in life.visits:
        days = {state: str(day) for state, day in visit.days.items()}
        said = {"days": days, "values": visit.values, "digests": visit.digests}
        yield life.coral.id, visit.visit, unit, visit.state, days[visit.state] if visit.state else None, _packed(said)


def _ages(found: History) -> tuple[int | None, int | None, int | None]:
    if found.lost is None or found.open is None:
        return None, None, None
    return found.lost.left, found.lost.right, found.open.right


def _counted(found: CountedGroup) -> tuple[Any, ...]:
    group, planted_on = found.group, str(found.planted_on) if found.planted_on else None
    said = {"answers": _answers(found), "planted": group.planted}
    return group.plot, group.genotype, found.planted, planted_on, group.method, _packed(said)


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


def _counted_visits(found: CountedGroup) -> Iterator[tuple[Any, ...]]:
    for place, visit in enumerate(found.visits, 1):
        said = {"numbers": visit.numbers, "worst": visit.worst, "best": visit.best}
        yield found.group.plot, found.group.genotype, place, str(visit.day), _packed(said)
