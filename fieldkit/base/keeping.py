"""Keeps the state true to the ledger: computes anew what new entries touch, and nothing else.

The folds are pure and need to be given whole neighbourhoods. This module finds them, in the order in which the strata build on
each other: sessions, the visits of their sites, slates typed twice, registered things, and last the plots. A *unit* is what is
computed together: most often one plot; a ruling that moves an observation to another plot's coral ties two plots together.

From nothing, everything is touched; the rows are the same, and `fieldkit check` and the tests compare them byte for byte.
"""

from __future__ import annotations

import dataclasses
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping
from datetime import date
from typing import Any

from fieldkit.base.state import State, unpacked_session
from fieldkit.ledger import FAMILIES, Entry, is_id
from fieldkit.ledger.fold import LEAD, Session, Standing, merged, session, standing
from fieldkit.ledger.store import Ledger
from fieldkit.ledger.subjects import mentions, subjects
from fieldkit.protocol import Protocol
from fieldkit.register.fold import corals, groups
from fieldkit.register.names import folded
from fieldkit.settle.calendar import Dive, Visitor, day_of, is_set_aside, settled_day, settled_site, visits
from fieldkit.settle.fold import settle
from fieldkit.settle.matter import Matter, Rulings
from fieldkit.settle.place import noted
from fieldkit.settle.questions import SlatePair, corrected_twice, name_of_two, rulings_that_differ, session_matters, slate_pairs
from fieldkit.settle.reading import home, read
from fieldkit.settle.slates import Slates, settled_slates, sharing, typed_twice

PLOTS_AT_ONCE = 200
"""How many plots a fold from nothing holds in memory together; more is hardly faster. Chosen by us."""

_THINGS = tuple(
    kind for kind, family in FAMILIES.items() if family in ("register", "protocol") and kind not in ("coral", "tag")
)
_NAMES = {"site": "name", "plot": "name", "genotype": "accession", "person": "initials"}
_SCOPES = {"plot": "site", "boat_day": "site"}


class Keeper:
    """Brings the state up to date. The caller holds the transaction."""

    def __init__(self, ledger: Ledger, state: State, protocol: Callable[[str], Protocol | None]) -> None:
        """`protocol` gives the protocol of a digest, or None while its file has not arrived."""
        self._ledger = ledger
        self._state = state
        self._protocol = protocol

    def take_in(self, new: Collection[Entry]) -> None:
        """Compute anew what these entries, just appended, touch."""
        self._update(list(new), set())

    def protocol_arrived(self, digest: str) -> None:
        """Compute anew what was written under a protocol whose file was not here before."""
        self._update([], set(self._state.sessions_with("protocol", {digest})), changed=True)

    def from_nothing(self) -> None:
        """Throw the state away and compute all of it."""
        self._state.clear()
        self._update(list(self._ledger.all()), set())

    def _update(self, new: list[Entry], sessions: set[str], *, changed: bool = False) -> None:
        before = self._state.sessions(sessions)
        entries, touched = self._sessions(new, sessions, before)
        moved = self._visits(touched, before)
        stirred = self._slates(touched | moved, before)
        changed_things = self._things(entries)
        self._questions(touched | self._sessions_beside(changed_things))
        again = self._differing(touched | moved, before) | stirred | (sessions if changed else set())
        seeds = self._units_of(entries) | self._units_of(self._observations(again).values())
        ordered = sorted(seeds)
        for i in range(0, len(ordered), PLOTS_AT_ONCE):
            self._plots(set(ordered[i : i + PLOTS_AT_ONCE]))

    # sessions

    def _sessions(self, new: list[Entry], also: set[str], before: dict[str, dict[str, Any]]) -> tuple[list[Entry], set[str]]:
        """Compute the sessions that entries touch, until none is touched that was not computed.

        Returns the entries that are new or have effect only now, and the sessions. Adds to `before` what their rows were.
        """
        waiting, entries, done = list(new), {entry.digest: entry for entry in new}, set[str]()
        touched = set(also)
        while waiting or touched - done:
            touched |= self._sessions_named(waiting)
            now = touched - done
            before |= self._state.sessions(now)
            found = self._fold_sessions(now)
            done |= now
            # What a session says has effect only once its opening entry is here: then all of it is as good as new.
            roused = [id_ for id_, one in found.items() if _standing_of(one) != _standing_of_row(before.get(id_))]
            waiting = [entry for entry in self._ledger.of_sessions(roused) if entry.digest not in entries]
            entries |= {entry.digest: entry for entry in waiting}
        return list(entries.values()), done

    def _sessions_named(self, entries: Iterable[Entry]) -> set[str]:
        entries = list(entries)
        named = {name for entry in entries for name in mentions(entry)}
        return (
            {entry.session for entry in entries}
            | {entry.session for entry in self._ledger.with_digests(named)}
            | {name for name in named if is_id(name)}
            | self._state.sessions_with("import", named).keys()
        )

    def _fold_sessions(self, ids: set[str]) -> dict[str, Session]:
        own: dict[str, list[Entry]] = defaultdict(list)
        session_of: dict[str, str] = {}
        for entry in self._ledger.of_sessions(ids):
            own[entry.session].append(entry)
            session_of[entry.digest] = entry.session
        around: dict[str, list[Entry]] = defaultdict(list)
        for entry in self._ledger.mentioning(session_of):
            for id_ in {session_of[name] for name in entry.replaces if name in session_of}:
                around[id_].append(entry)
        replaced = {
            e.digest: e for e in self._ledger.with_digests({n for said in own.values() for e in said for n in e.replaces})
        }
        opened = self._opened({e.session for said in (*own.values(), *around.values(), replaced.values()) for e in said})
        taken_back = frozenset(o.values["import"] for o in opened.values() if o.taken_back)
        rulings = self._rulings(ids)
        found = {}
        for id_, said in sorted(own.items()):
            named = [replaced[name] for entry in said for name in entry.replaces if name in replaced]
            stands = standing([*said, *around[id_], *named], opened)
            own_digests = {entry.digest for entry in said}
            found[id_] = dataclasses.replace(
                session(id_, [*said, *around[id_]], opened, taken_back),
                not_entitled=tuple(digest for digest in stands.not_entitled if digest in own_digests),
            )
            self._put_session(found[id_], stands, rulings)
        return found

    def _put_session(self, one: Session, stands: Standing, rulings: Rulings) -> None:
        day = settled_day(one, rulings)
        self._state.put_session(
            one, settled_site(one, rulings), str(day) if day else None, None, set_aside=is_set_aside(one, rulings)
        )
        photos = [(e.digest, e.values) for e in stands.heads.values() if e.kind == "photo" and e.session == one.id]
        self._state.put_photos(one.id, photos)

    def _opened(self, ids: Collection[str]) -> dict[str, Session]:
        """Device, role and whether they were taken back: all that decides whether the entries of other sessions have effect."""
        openings: dict[str, list[Entry]] = defaultdict(list)
        for entry in self._ledger.openings(ids):
            openings[entry.session].append(entry)
        taken_back = self._imports_taken_back(entry for said in openings.values() for entry in said)
        return {id_: session(id_, said, {}, taken_back) for id_, said in openings.items()}

    def _imports_taken_back(self, openings: Iterable[Entry]) -> frozenset[str]:
        """Of the imports that made these sessions: those that a lead took back whole."""
        imports = {entry.values["import"] for entry in openings if isinstance(entry.values.get("import"), str)}
        retracts = [entry for entry in self._ledger.mentioning(imports) if entry.kind == "retract"]
        by = {entry.session: entry for entry in self._ledger.openings({entry.session for entry in retracts}) if entry.seq == 1}
        return frozenset(
            entry.values["import"]
            for entry in retracts
            if (first := by.get(entry.session)) and first.device == entry.device and first.values.get("role") == LEAD
        )

    def _rulings(self, names: Collection[str]) -> Rulings:
        """The standing rulings upon these digests or sessions."""
        found: dict[str, Entry] = {}
        waiting = {entry.digest: entry for entry in self._ledger.mentioning(names) if entry.kind == "ruling"}
        while waiting:  # and whatever replaced or retracted those
            found |= waiting
            waiting = {e.digest: e for e in self._ledger.mentioning(waiting) if e.digest not in found}
        return Rulings(standing(found.values(), self._opened({entry.session for entry in found.values()})).heads.values())

    # visits and slates

    def _visits(self, touched: set[str], before: Mapping[str, Mapping[str, Any]]) -> set[str]:
        """Compute the visits of the sites of these sessions. Returns the sessions whose visit is another than it was."""
        now = self._state.sessions(touched)
        sites = {row["site"] for rows in (before, now) for row in rows.values() if row["site"]}
        was = {id_: row["visit"] for id_, row in before.items()}
        by_site: dict[str, list[Visitor]] = defaultdict(list)
        known: dict[str, str | None] = {}
        for id_, row in self._state.sessions_with("site", sites).items():
            known[id_] = was.get(id_) if id_ in touched else row["visit"]
            visitor = self._visitor(row)
            if visitor:
                by_site[row["site"]].append(visitor)
        moved = set()
        found = {session: visit for visitors in by_site.values() for session, visit in visits(visitors).items()}
        for id_, old in known.items():
            visit = found.get(id_)
            if visit != old:
                moved.add(id_)
            if visit != old or id_ in touched:
                self._state.put_visit(id_, visit)
        return moved

    def _visitor(self, row: Mapping[str, Any]) -> Visitor | None:
        one = unpacked_session(row)
        day = day_of(row["day"])
        if day is None or not one.has_observations or one.is_practice or one.taken_back or row["set_aside"]:
            return None
        protocol = self._protocol(row["protocol"] or "")
        named = one.values.get("visit")
        return Visitor(one.id, day, protocol.same_visit_days if protocol else 0, named if isinstance(named, str) else None)

    def _slates(self, sessions: set[str], before: Mapping[str, Mapping[str, Any]]) -> set[str]:
        """Look for slates typed twice on the visits of these sessions. Returns the sessions about which the answer changed."""
        now = self._state.sessions(sessions)
        units = {(row["site"], row["visit"]) for rows in (before, now) for row in rows.values() if row["site"] and row["visit"]}
        stirred = set()
        for site, visit in sorted(units):
            there = {i: r for i, r in self._state.sessions_with("site", {site}).items() if r["visit"] == visit}
            stirred |= self._slates_of(f"{site} {visit}", there)
        return stirred

    def _slates_of(self, unit: str, there: Mapping[str, Mapping[str, Any]]) -> set[str]:
        old = {tuple(row.items()) for row in self._state.rows("SELECT * FROM slate WHERE unit = ?", None, unit)}
        pairs, matters = self._pairs(unit, there) if len(there) > 1 else ([], [])
        self._state.put_slates(unit, pairs)
        self._state.replace_matters(unit, matters)
        new = {tuple(row.items()) for row in self._state.rows("SELECT * FROM slate WHERE unit = ?", None, unit)}
        return {value for row in old ^ new for name, value in row if name in ("one", "other")}

    def _pairs(self, unit: str, there: Mapping[str, Mapping[str, Any]]) -> tuple[list[SlatePair], list[Matter]]:
        noted_there: dict[str, dict[str, Entry]] = {id_: {} for id_ in there}
        for entry in self._observations(there).values():
            coral = folded(noted(entry.values)) or entry.values.get("coral")
            noted_there[entry.session][f"{entry.values.get('plot')} {coral}"] = entry
        pairs = sharing(noted_there)
        dives = {id_: self._dive(there[id_]) for pair in pairs for id_ in pair}
        rows = {id_: {coral: _typed(entry, dive) for coral, entry in noted_there[id_].items()} for id_, dive in dives.items()}
        alike = typed_twice(pairs, rows, dives)
        return slate_pairs(alike, rows, self._rulings(dives), unit)

    def _differing(self, sessions: Collection[str], before: Mapping[str, Mapping[str, Any]]) -> set[str]:
        """Sessions whose row is another than before in what observations depend on."""
        now = self._state.sessions(sessions)
        return {id_ for id_ in sessions if _weight(now.get(id_)) != _weight(before.get(id_))}

    # registered things

    def _things(self, entries: Iterable[Entry]) -> set[tuple[str, str]]:
        """Compute the registered things that entries touch. Returns their kinds and ids."""
        entries = list(entries)
        named = self._ledger.with_digests({name for entry in entries for name in mentions(entry)})
        ids = {id_ for entry in (*entries, *named) if entry.kind in _THINGS for id_ in subjects(entry)}
        spoken: dict[tuple[str, str], list[Entry]] = defaultdict(list)
        for entry in self._ledger.about(ids):
            for id_ in subjects(entry) if entry.kind in _THINGS else ():
                spoken[entry.kind, id_].append(entry)
        replacing = self._ledger.mentioning([entry.digest for said in spoken.values() for entry in said])
        all_ = {entry.digest: entry for said in (*spoken.values(), replacing) for entry in said}
        stands = standing(all_.values(), self._opened({entry.session for entry in all_.values()}))
        for (kind, id_), said in sorted(spoken.items()):
            self._put_thing(kind, id_, [entry for entry in said if entry.digest in stands.heads])
        return set(spoken)

    def _sessions_beside(self, things: Iterable[tuple[str, str]]) -> set[str]:
        """Sessions that are judged by these things: by the boat days of their site, and by the sites of their plots."""
        plots = {id_ for kind, id_ in things if kind == "plot"}
        sites = {site for kind, id_ in things if kind == "boat_day" for site in self._sites_ever(id_)}
        return self._state.sessions_with("site", sites).keys() | self._state.sessions_of_units(plots)

    def _sites_ever(self, boat_day: str) -> set[str]:
        """Every site that a boat day was ever said to be at: the sessions of all of them may be judged anew."""
        return {e.values["site"] for e in self._ledger.about({boat_day}) if isinstance(e.values.get("site"), str)}

    def _questions(self, ids: Collection[str]) -> None:
        """Compute the matters that are about sessions as a whole."""
        rows = self._state.sessions(ids)
        rulings = self._rulings(ids)
        plots: dict[str, set[str]] = defaultdict(set)
        for entry in self._observations(rows).values():
            plots[entry.session] |= {plot} if isinstance(plot := entry.values.get("plot"), str) else set()
        site_of = self._state.sites_of_plots({plot for found in plots.values() for plot in found})
        boat_days = self._state.boat_days({row["site"] for row in rows.values() if row["site"]})
        for id_, row in rows.items():
            protocol = self._protocol(row["protocol"] or "")
            matters = session_matters(
                unpacked_session(row),
                rulings,
                boat_days=boat_days.get(row["site"], ()),
                window_days=protocol.same_visit_days if protocol else 0,
                sites_of_plots={site_of[plot] for plot in plots[id_] if plot in site_of},
            )
            self._state.replace_matters(f"session {id_}", matters)

    def _put_thing(self, kind: str, id_: str, heads: list[Entry]) -> None:
        called = {self._name_of(kind, id_)}
        disputed: tuple[str, ...] = ()
        if heads:
            values, disputed = merged(entry.values for entry in heads)
            name = values.get(_NAMES.get(kind, ""))
            scope = values.get(_SCOPES.get(kind, ""))
            self._state.put_thing(kind, id_, scope, folded(name) if isinstance(name, str) else None, values, disputed)
        else:
            self._state.drop_thing(kind, id_)
        of = tuple(sorted(entry.digest for entry in heads))
        unit = f"{kind} {id_}"
        self._state.replace_matters(unit, [corrected_twice(of, disputed, unit)] if disputed else [])
        for name_ in {*called, self._name_of(kind, id_)}:
            if name_ is not None:
                self._put_name_matter(kind, *name_)

    def _name_of(self, kind: str, id_: str) -> tuple[str | None, str] | None:
        rows = self._state.rows("SELECT scope, name FROM thing WHERE kind = ? AND id = ?", None, kind, id_)
        return (rows[0]["scope"], rows[0]["name"]) if rows and rows[0]["name"] else None

    def _put_name_matter(self, kind: str, scope: str | None, name: str) -> None:
        ids = self._state.things_named(kind, scope, name)
        unit = f"name of {kind} {scope or ''} {name}"
        self._state.replace_matters(unit, [name_of_two(ids, name, unit)] if len(ids) > 1 else [])

    # plots

    def _observations(self, sessions: Collection[str]) -> dict[str, Entry]:
        """Standing observations of these sessions."""
        own = [entry for entry in self._ledger.of_sessions(sessions) if entry.family == "observation"]
        around = own + self._ledger.mentioning([entry.digest for entry in own])
        heads = standing(around, self._opened({entry.session for entry in around})).heads
        return {entry.digest: heads[entry.digest] for entry in own if entry.digest in heads and entry.kind == "observation"}

    def _units_of(self, entries: Iterable[Entry]) -> set[str]:
        """The units to which entries belong, and those of whatever they name."""
        entries = list(entries)
        named = self._ledger.with_digests({name for entry in entries for name in mentions(entry)})
        corals_named = {
            id_ for entry in (*entries, *named) if entry.kind in ("coral", "tag", "ruling", "observation", "action")
            if is_id(id_ := entry.values.get("coral"))
        }  # fmt: skip
        around = (*entries, *named, *(e for e in self._ledger.about(corals_named) if e.kind in ("planting", "coral")))
        return {unit for entry in around if (unit := _home(entry))}

    def _plots(self, seeds: set[str]) -> None:
        units, entries = self._neighbourhood(seeds)
        sessions = {entry.session for entry in entries.values()}
        stands = standing(entries.values(), self._opened(sessions))
        rows = self._state.sessions(sessions)
        dives = {id_: self._dive(row) for id_, row in rows.items()}
        days = {id_: row["day"] for id_, row in rows.items()}
        heads = stands.heads.values()
        rulings = Rulings(entry for entry in heads if entry.kind == "ruling")
        found = settle(
            [entry for entry in heads if entry.kind == "observation"],
            corals(heads, days),
            groups(heads, days),
            dives,
            rulings,
            self._settled_slates(rows),
        )
        self._state.forget_units(units)
        self._state.put_lives((life.coral.plot or _first_home(life.coral.said_by, entries), life) for life in found.lives)
        self._state.put_groups(found.groups)
        self._state.put_matters(found.matters)
        self._state.put_matters(rulings_that_differ(rulings, {digest: _home(entry) or "" for digest, entry in entries.items()}))
        fates = {**found.fates, **stands.fates}
        self._state.put_fates(
            (digest, _home(entry) or "", fates[digest], found.coral_of.get(digest), entry.session)
            for digest, entry in sorted(entries.items())
            if entry.kind == "observation"
        )

    def _neighbourhood(self, seeds: set[str]) -> tuple[set[str], dict[str, Entry]]:
        """All entries that bear on these units, and the units that they tie to them."""
        units: set[str] = set()
        entries: dict[str, Entry] = {}
        corals_known: set[str] = set()
        frontier = set(seeds)
        while frontier:
            units |= frontier
            waiting = self._ledger.about(frontier) + [e for e in self._ledger.of_sessions(frontier) if _home(e) in frontier]
            while waiting := [entry for entry in waiting if entry.digest not in entries and _bears_on_plots(entry)]:
                entries |= {entry.digest: entry for entry in waiting}
                spoken = {id_ for entry in waiting for id_ in _corals_named(entry)} - corals_known
                corals_known |= spoken
                named = {name for entry in waiting for name in mentions(entry)}
                waiting = (
                    self._ledger.about(spoken)
                    + self._ledger.mentioning([entry.digest for entry in waiting])
                    + self._ledger.with_digests(named)
                )
            frontier = {unit for entry in entries.values() if (unit := _home(entry))} - units
        return units, entries

    def _dive(self, row: Mapping[str, Any]) -> Dive:
        one = unpacked_session(row)
        day: date | None = day_of(row["day"])
        return Dive(
            id=row["id"],
            site=row["site"],
            day=day,
            visit=row["visit"],
            protocol=self._protocol(row["protocol"] or ""),
            practice=one.is_practice,
            recorder=one.values.get("recorder"),
            set_aside=bool(row["set_aside"]),
        )

    def _settled_slates(self, sessions: Collection[str]) -> Slates:
        rows = self._state.slates(list(sessions))
        return settled_slates((row["one"], row["other"], row["retyped"], row["ruling"]) for row in rows)


def _typed(entry: Entry, dive: Dive) -> Mapping[str, Any]:
    """What was typed in a row: the protocol's fields, and the note."""
    note = entry.values.get("note")
    return {**read(entry, dive).values, **({"note": note} if isinstance(note, str) else {})}


def _home(entry: Entry) -> str | None:
    """The unit to which an entry belongs by its own words alone; None where it belongs wherever what it names does."""
    if entry.family == "observation":
        return home(entry.values, entry.session)
    if entry.kind == "coral":
        plot = entry.values.get("plot")
        return plot if isinstance(plot, str) else None
    return None


def _first_home(digests: Iterable[str], entries: Mapping[str, Entry]) -> str:
    return min((unit for digest in digests if (unit := _home(entries[digest]))), default="")


def _bears_on_plots(entry: Entry) -> bool:
    return entry.family == "observation" or entry.kind in ("coral", "tag", "ruling", "retract")


def _corals_named(entry: Entry) -> set[str]:
    names = {"planting": ("row",), "coral": ("coral",), "tag": ("coral",), "observation": ("coral",), "action": ("coral",)}
    return {id_ for name in names.get(entry.kind, ("coral",)) if is_id(id_ := entry.values.get(name))}


def _standing_of(one: Session) -> tuple[Any, ...]:
    return one.device, one.role, one.taken_back


def _standing_of_row(row: Mapping[str, Any] | None) -> tuple[Any, ...]:
    return _standing_of(unpacked_session(row)) if row else (None, None, False)


def _weight(row: Mapping[str, Any] | None) -> tuple[Any, ...]:
    """What observations depend on of their session's row."""
    if row is None:
        return ()
    one = unpacked_session(row)
    return (
        *(row[name] for name in ("site", "day", "visit", "set_aside", "protocol")),
        *_standing_of(one), one.is_practice, one.values.get("recorder"),
    )  # fmt: skip
