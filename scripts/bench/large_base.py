"""A large base on disk, made once for the benches that read it: twenty sites, fifty genotypes, six rounds.

Two sites come in through `Base.receive`, as everything does; in the second, slates were noted twice and differ here and there,
so that some hundred corals are in dispute. The other eighteen are copies of the first, row by row, with other names in every
row and the digests that follow: what receiving them would have made, sooner. tests/scripts/test_large_base.py holds a copied
base to a received one, byte for byte.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from fieldkit.base import Base
from fieldkit.base.database import FILE
from fieldkit.base.tables import TABLES
from fieldkit.ledger import Entry, mint, sha256
from fieldkit.ledger.migrations import put_summaries
from fieldkit.protocol import read_protocol
from fieldkit.register.names import looks
from fieldkit.shipped import SAMPLE_SURVEYS

SITES, GENOTYPES, ROUNDS = 20, 50, (30, 91, 182, 365, 548, 730)
PLOT_CORALS = 50
PLOTS_A_DAY = 40
"""What a site's boats plant, or visit, in a day."""
LIFE_DAYS = 1500.0
GENOTYPES_IN_PLOT = 10

PROTOCOL = (SAMPLE_SURVEYS / "protocols" / "post_outplant_monitoring.toml").read_bytes()
DIGEST = read_protocol(PROTOCOL, name="protocol").digest
FIRST_DAY = date(2021, 2, 1)

_KINDS = ("site", "plot", "coral", "row", "session", "device", "genotype")
_LEDGER = ("ledger", "mention", "about")


def token(site: int) -> str:
    """Three letters that stand in every name of a site and nowhere else: no digest and no id holds them."""
    return f"q{chr(97 + site // 26)}{chr(97 + site % 26)}"


def id_of(site: int, kind: str, number: int) -> str:
    """An id of something at a site; all of a site's begin alike."""
    return f"{beginning(site)}{_KINDS.index(kind):04x}-7000-8000-{number:012x}"


def beginning(site: int) -> str:
    return f"019{site:05x}-"


class Session:
    """A session, written entry by entry."""

    def __init__(self, site: int, number: int, /, **values: Any) -> None:
        self.id, self.device = id_of(site, "session", number), id_of(site, "device", 0)
        self.entries: list[Entry] = []
        self.say("session", **values)

    def say(self, kind: str, /, **values: Any) -> None:
        seq = len(self.entries) + 1
        self.entries.append(mint(kind, device=self.device, session=self.id, seq=seq, at=0, values=values))


def register() -> list[Entry]:
    """The genotypes, in a session of no site."""
    session = Session(SITES, 0, role="lead")
    for number in range(GENOTYPES):
        names = {"genotype": id_of(SITES, "genotype", number), "accession": f"G{number:02}"}
        session.say("genotype", **names, species=f"Acropora sp. {number % 5}")
    return session.entries


def founding(site: int, plots: int) -> Iterator[Entry]:
    """The site, its plots and their plantings: so many plots a day, three seasons."""
    lead = Session(site, 0, role="lead")
    here = id_of(site, "site", 0)
    lead.say("site", site=here, name=f"{token(site).title()} Reef")
    for plot in range(plots):
        named = {"plot": id_of(site, "plot", plot), "site": here}
        lead.say("plot", **named, name=f"{token(site).upper()}{plot}", recorded_as="tagged")
        session = Session(site, 1 + plot, role="crew", site=here, day=str(_planted(plot, plots)))
        for i in range(PLOT_CORALS):
            coral = {"row": id_of(site, "coral", plot * PLOT_CORALS + i), "tag": _tag(site, plot, i), "position": str(i)}
            session.say("planting", plot=named["plot"], genotype=id_of(SITES, "genotype", _genotype(plot, i)), **coral)
        yield from session.entries
    yield from lead.entries


def rounds(site: int, plots: int, *, twice_from: int | None = None) -> Iterator[Entry]:
    """Every plot in every round: a session each, some days off the round's age.

    Args:
        twice_from: plots from this one on were noted by a second diver in the third round, who saw every tenth coral otherwise.
    """
    by_chance = np.random.default_rng(5)
    shape = plots, PLOT_CORALS
    rate = by_chance.gamma(2, 0.5, plots)[:, None] * (0.6 + np.arange(PLOT_CORALS) % GENOTYPES_IN_PLOT / 10)
    dies, loses_tag = by_chance.exponential(LIFE_DAYS / rate), by_chance.exponential(6000, shape)
    for number, age in enumerate(ROUNDS):
        for plot in range(plots):
            at = age + plot // PLOTS_A_DAY % 25 - 12
            states = np.where(dies[plot] <= at, "dead", np.where(loses_tag[plot] <= at, "missing", "alive")).tolist()
            yield from _round(site, plot, number, _planted(plot, plots) + timedelta(days=int(at)), states)
            if number == 2 and twice_from is not None and plot >= twice_from:
                other = ["missing" if i % 10 == 0 and state == "alive" else state for i, state in enumerate(states)]
                yield from _round(site, plot, number, _planted(plot, plots) + timedelta(days=int(at)), other, diver=1)


def _round(site: int, plot: int, number: int, day: date, states: Sequence[str], *, diver: int = 0) -> Iterator[Entry]:
    head = {"site": id_of(site, "site", 0), "day": str(day), "recorder": f"R{plot % 5}{diver}"}
    names = 1_000_000 * (1 + number + len(ROUNDS) * diver) + plot
    session = Session(site, names, role="crew", protocol=DIGEST, **head)
    for i, state in enumerate(states):
        row = {
            "row": id_of(site, "row", PLOT_CORALS * names + i),
            "plot": id_of(site, "plot", plot),
            "tag": _tag(site, plot, i),
        }
        fields = {"size_cm": f"{8 + number}.{i % 10}", "bleaching": "none"} if state == "alive" else {}
        session.say("observation", **row, status=state, **fields)
    session.say("close", n=len(session.entries), photos="0")
    yield from session.entries


def _planted(plot: int, plots: int) -> date:
    return FIRST_DAY + timedelta(days=365 * (plot * 3 // plots) + plot // PLOTS_A_DAY)


def _genotype(plot: int, i: int) -> int:
    return (plot * GENOTYPES_IN_PLOT + i % GENOTYPES_IN_PLOT) % GENOTYPES


def _tag(site: int, plot: int, i: int) -> str:
    return f"{token(site).upper()}{plot}-{i:02}"


def make(folder: Path, corals: int, *, say: Callable[[str], None] = print) -> Base:
    """Make the base; `corals` is rounded to whole plots at every site."""
    plots = corals // SITES // PLOT_CORALS
    base = Base.create(folder, "Bench")
    base.keep_protocol(PROTOCOL)
    say(f"one site of {plots} plots comes in")
    base.receive([*register(), *founding(0, plots), *rounds(0, plots)], source="bench")
    with closing(sqlite3.connect(base.folder / FILE, isolation_level=None)) as connection:
        copier = Copier(connection)
        for site in range(1, SITES - 1):
            say(f"site {site} is copied")
            copier.copy(site)
        copier.finish()
        connection.execute("PRAGMA journal_mode = WAL")
    say("one with doubles comes in")
    base.receive(founding(SITES - 1, plots), source="bench")
    base.receive(rounds(SITES - 1, plots, twice_from=plots - max(plots // 50, 1)), source="bench")
    return base


class Copier:
    """Copies what the base holds of the first site, under the names of another. Not durable: who is killed starts anew."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._db = connection
        connection.create_function("sha256", 1, sha256, deterministic=True)
        connection.create_function("looks", 1, looks, deterministic=True)
        for setting in ("journal_mode = OFF", "synchronous = OFF", "cache_size = -2000000"):
            connection.execute(f"PRAGMA {setting}")
        (self._step,) = connection.execute("SELECT max(place) FROM ledger").fetchone()
        self._texts = {table: self._columns(table) for table in (*TABLES, *_LEDGER)}
        self._take("ledger", f"session LIKE '{beginning(0)}%'")
        for table in _LEDGER[1:]:
            self._take(table, "place IN (SELECT place FROM its_ledger)")
        for table in TABLES:
            texts = [name for name, is_text in self._texts[table].items() if is_text]
            self._take(table, " OR ".join(f"instr(\"{name}\", '{beginning(0)}')" for name in texts))

    def copy(self, site: int) -> None:
        self._db.execute("BEGIN")
        further = self._step * site
        body = f"CAST({_renamed('CAST(body AS TEXT)', site)} AS BLOB)"
        self._put("ledger", site, place=f"place + {further}", digest=f"sha256({body})", body=body)
        for table in _LEDGER[1:]:
            self._put(table, site, place=f"place + {further}")
        self._db.execute("DROP TABLE IF EXISTS twin")
        self._db.execute("CREATE TEMP TABLE twin (old TEXT PRIMARY KEY, new TEXT) WITHOUT ROWID")
        copied = f"its_ledger AS its JOIN ledger AS copy ON copy.place = its.place + {further}"
        self._db.execute(f"INSERT INTO twin SELECT its.digest, copy.digest FROM {copied} ORDER BY 1")
        for table in TABLES:
            if table not in ("fate", "seen", "session", "worn"):
                self._put(table, site)
        self._put("worn", site, looks=f"looks({_renamed('tag', site)})")
        self._put("fate", site, "JOIN twin ON old = digest", digest="new")
        # Nothing was noted twice at the first site: every session has one opening, every visit of a coral one observation.
        said = f"replace({_renamed('said', site)}, old, new)"
        self._put("session", site, "JOIN twin ON old = json_extract(said, '$.opening[0]')", said=said)
        self._put("seen", site, "JOIN twin ON old = json_extract(said, '$.digests[0]')", said=said)
        self._db.execute("COMMIT")

    def finish(self) -> None:
        """What is kept of the ledger as a whole: one receipt for all that was copied, summaries, how far the state goes."""
        (newest,) = self._db.execute("SELECT max(place) FROM ledger").fetchone()
        self._db.execute("INSERT INTO receipt VALUES (?, ?, 0, 'bench', NULL)", (self._step + 1, newest))
        put_summaries(self._db)
        self._db.execute("UPDATE base SET value = ? WHERE name = 'folded'", (str(newest),))

    def _columns(self, table: str) -> dict[str, bool]:
        """Column to whether it holds text."""
        return {row[1]: row[2] == "TEXT" for row in self._db.execute(f"PRAGMA table_info({table})")}

    def _take(self, table: str, which: str) -> None:
        self._db.execute(f"CREATE TEMP TABLE its_{table} AS SELECT * FROM main.{table} WHERE {which}")

    def _put(self, table: str, site: int, joined: str = "", **told: str) -> None:
        """The rows of the first site under another's names; `told` says columns that are made otherwise."""
        made = {name: _renamed(f'"{name}"', site) if is_text else f'"{name}"' for name, is_text in self._texts[table].items()}
        columns = ", ".join((made | told).values())
        self._db.execute(f"INSERT INTO {table} SELECT {columns} FROM its_{table} {joined} ORDER BY 1")


def _renamed(column: str, site: int) -> str:
    changes = [(beginning(0), beginning(site))]
    changes += [(change(token(0)), change(token(site))) for change in (str.lower, str.upper, str.title)]
    for old, new in changes:
        column = f"replace({column}, '{old}', '{new}')"
    return column
