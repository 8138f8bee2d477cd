"""Boat days as they came in: which sessions are here, how much of each, and what of what was taken out is still out."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import zip_longest
from typing import Any, Literal, TypeAlias

from fieldkit.base import SessionRow, View
from fieldkit.photos import PhotoStore
from fieldkit.register.names import in_order
from fieldkit.reports.incomplete import Incomplete, incomplete


@dataclass(frozen=True)
class Came:
    """A session as it came in."""

    id: str
    recorder: str
    typed_by: str
    device: str
    plots: tuple[str, ...]
    rows: int
    """Standing observations."""
    held: int
    promised: int | None
    """Entries here, and how many the session said it has; None while it was not closed."""
    photos: int
    photos_out: int
    """Photos mentioned whose bytes are not here yet."""
    practice: bool
    matters: int

    @property
    def is_whole(self) -> bool:
        return self.promised is not None and self.held > self.promised and not self.photos_out


@dataclass(frozen=True)
class Sheet:
    """A numbered sheet that was taken out."""

    number: str
    plot: str
    """The name of the plot that is printed on it; empty: nobody wrote that down."""


SheetState: TypeAlias = Literal["in", "part", "out", "unknown"]
"""Whether the plot of a sheet came back: with every coral, with some left out, not at all; or nobody knows which plot it is."""


@dataclass(frozen=True)
class Day:
    """One day at one site."""

    day: str
    site: str
    came: tuple[Came, ...]
    taken_out: Mapping[str, Any]
    """What the boat day's entry says was taken out: `plots` (names), `crew`, `sheets`; empty where nobody wrote it down."""
    plots_out: tuple[str, ...]
    """Plots taken out of which nothing came back yet."""
    sheets: tuple[Sheet, ...] = ()
    """Those taken out, one by one, in the order of their numbers."""
    incomplete: tuple[Incomplete, ...] = ()
    """Plots that came back with corals left out; told of the newest day from which anything came."""

    @property
    def matters(self) -> int:
        return sum(one.matters for one in self.came)

    def state(self, sheet: Sheet) -> SheetState:
        if not sheet.plot:
            return "unknown"
        if sheet.plot in self.plots_out:
            return "out"
        return "part" if sheet.plot in {one.plot for one in self.incomplete} else "in"


def days(view: View, photos: PhotoStore) -> list[Day]:
    """All boat days, the newest first."""
    sites, plots = (_names(view, kind) for kind in ("site", "plot"))
    here: dict[tuple[str, str], list[SessionRow]] = defaultdict(list)
    for row in view.sessions().values():
        if row.session.has_observations:
            here[row.day or "", row.site or ""].append(row)
    out: dict[tuple[str, str], list[Mapping[str, Any]]] = defaultdict(list)
    for _, said in sorted(view.things("boat_day").items()):
        out[said.get("day", ""), said.get("site", "")].append(said)
    open_matters = _open_matters(view)
    seen = _plots_seen(view)
    keys = sorted(here.keys() | out.keys(), reverse=True)
    found = [
        replace(
            _day(view, key, here.get(key, []), _together(out.get(key, [])), sites, plots, seen, open_matters, photos),
            sheets=tuple(_sheets(out.get(key, []), plots)),
        )
        for key in keys
    ]
    newest = max((day for day, _ in here), default="")
    left_out = {key: tuple(incomplete(view, newest, _counting(here[key]))) for key in here if key[0] == newest}
    return [replace(day, incomplete=left_out.get(key, ())) for key, day in zip(keys, found, strict=True)]


def _counting(rows: Iterable[SessionRow]) -> list[str]:
    return [row.session.id for row in rows if not row.session.is_practice]


def _together(said: Iterable[Mapping[str, Any]]) -> dict[str, list[Any]]:
    """What several entries say was taken out on one day at one site: two boats, say."""
    found: dict[str, list[Any]] = {}
    for one in said:
        for name in ("plots", "crew", "sheets"):
            found[name] = list(dict.fromkeys([*found.get(name, []), *one.get(name, [])]))
    return found


def _sheets(said: Iterable[Mapping[str, Any]], plots: Mapping[str, str]) -> list[Sheet]:
    """Plans name the plot of each sheet; whoever wrote numbers alone did not."""
    found: dict[str, str] = {}
    for one in said:
        for number, plot in zip_longest(one.get("sheets", []), one.get("sheet_plots", [])):
            if number is not None:
                found.setdefault(str(number), plots.get(plot, "") if isinstance(plot, str) else "")
    return [Sheet(number, plot) for number, plot in sorted(found.items(), key=lambda one: in_order(one[0]))]


def _day(
    view: View,
    key: tuple[str, str],
    sessions: list[SessionRow],
    out: Mapping[str, Any],
    sites: Mapping[str, str],
    plots: Mapping[str, str],
    seen: Mapping[str, Counter[str]],
    open_matters: Mapping[str, int],
    photos: PhotoStore,
) -> Day:
    came = [_came(view, row, plots, seen, open_matters, photos) for row in sessions]
    back = {plot for row in sessions if not row.session.is_practice for plot in seen.get(row.session.id, ())}
    named = [str(plot) for plot in out.get("plots", [])]
    people = _names(view, "person")
    taken_out = {
        "plots": [plots.get(plot, plot) for plot in named],
        "crew": [people.get(person, person) for person in out.get("crew", [])],
        "sheets": list(out.get("sheets", [])),
    }
    return Day(
        key[0],
        sites.get(key[1], ""),
        tuple(sorted(came, key=lambda one: (one.recorder, one.id))),
        taken_out if out else {},
        tuple(sorted(plots.get(plot, plot) for plot in named if plot not in back)),
    )


def _came(
    view: View,
    row: SessionRow,
    plots: Mapping[str, str],
    seen: Mapping[str, Counter[str]],
    open_matters: Mapping[str, int],
    photos: PhotoStore,
) -> Came:
    one = row.session
    shown = [photo["photo"] for photo in view.photos_of_session(one.id)]
    rows = seen.get(one.id, Counter())
    return Came(
        one.id,
        str(one.values.get("recorder", "")),
        str(one.values.get("typed_by", "")),
        one.device or "",
        tuple(sorted(plots.get(plot, plot) for plot in rows)),
        rows.total(),
        _held(view, row),
        one.promised,
        len(shown),
        sum(not (photo and photos.has(photo)) for photo in shown),
        one.is_practice,
        open_matters.get(one.id, 0),
    )


def _held(view: View, row: SessionRow) -> int:
    """Entries here. What was said after the session was closed makes up for nothing that is still out."""
    one = row.session
    if one.promised is None or one.held <= one.promised:
        return one.held
    places = "SELECT count(DISTINCT seq) AS n FROM ledger WHERE session = ? AND seq <= ?"
    before = view.rows(places, one.id, one.promised)[0]["n"]
    return one.held if before == one.promised else int(before)


def _names(view: View, kind: str) -> dict[str, str]:
    return {id_: str(said.get("name") or said.get("initials") or id_[:8]) for id_, said in view.things(kind).items()}


def _plots_seen(view: View) -> dict[str, Counter[str]]:
    """Standing observations by session and plot."""
    rows = view.rows(
        "SELECT session, unit, count(*) AS n FROM fate WHERE fate NOT IN ('superseded', 'retracted', 'redacted') "
        "GROUP BY session, unit"
    )
    found: dict[str, Counter[str]] = defaultdict(Counter)
    for row in rows:
        found[row["session"]][row["unit"]] = row["n"]
    return found


def _open_matters(view: View) -> Counter[str]:
    """Open matters by session."""
    return Counter(session for matter in view.matters_in_brief() for session in matter.sessions)
