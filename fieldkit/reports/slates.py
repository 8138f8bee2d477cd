"""What a device needs to draw its slates: the register, the protocols, and what was seen last. docs/exchange.md has its form.

Of each coral the newest settled state is told and nothing that other people noted besides; a device never holds others'
entries.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from fieldkit import messages
from fieldkit.base import View
from fieldkit.protocol import Choice, Field, Protocol
from fieldkit.register.names import in_order
from fieldkit.reports.programme.overview import lot_stock, planted_by_lot

SEARCHES_KEPT = 2
"""Looked for on so many visits and not found, a coral is left off the slate: each search costs air. Chosen by us."""

_CAUTIONS = ("pages.caution_dive", "pages.caution_law", "pages.caution_plan")
_PLOT = (
    *("site", "name", "recorded_as", "followed", "area_m2", "substrate"),
    *("marker", "landmark", "bearing_deg", "distance_m", "depth_m", "note"),
)
_NOT_STANDING = ("superseded", "retracted", "redacted", "practice", "set aside", "not understood")

Said = dict[str, Any]


def snapshot(view: View, protocols: Sequence[Protocol]) -> Said:
    """The register as a device keeps it, but for which base made it and when.

    Args:
        protocols: those whose files are here, by which the adopted ones are described.
    """
    return {
        "protocols": _protocols(view, protocols),
        "people": _things(view, "person", ("name", "initials")),
        "sites": _things(view, "site", ("name", "code", "time_zone", "note")),
        "genotypes": _things(view, "genotype", ("accession", "species")),
        "lots": _lots(view),
        "plots": _plots(view),
        "slates": _slates_to_type(view),
        "boat_days": _things(view, "boat_day", ("day", "site", "plots", "crew", "sheets")),
        "cautions": {language: [messages.text(key, language) for key in _CAUTIONS] for language in messages.LANGUAGES},
    }


def _known(said: Mapping[str, Any]) -> Said:
    """What is known of it: keys without a value are left out."""
    return {name: value for name, value in said.items() if value is not None and value not in ("", [], {})}


def _things(view: View, kind: str, names: Iterable[str]) -> list[Said]:
    found = sorted(view.things(kind).items())
    return [{kind: id_, **_known({name: said.get(name) for name in names})} for id_, said in found]


# protocols


def _protocols(view: View, here: Sequence[Protocol]) -> list[Said]:
    """The adopted ones; of each name the newest is current."""
    adopted = {said.get("digest") for said in view.things("protocol").values()}
    mine = sorted((one for one in here if one.digest in adopted), key=lambda one: (one.name, -one.version, one.digest))
    newest: dict[str, str] = {}
    for one in mine:
        newest.setdefault(one.name, one.digest)
    return [_protocol(one, is_current=newest[one.name] == one.digest) for one in mine]


def _protocol(protocol: Protocol, *, is_current: bool) -> Said:
    return {
        "digest": protocol.digest,
        "name": protocol.name,
        "version": protocol.version,
        "current": is_current,
        "title": dict(protocol.title),
        "last_seen": protocol.last_seen,
        "same_visit": protocol.same_visit_days,
        **_known({"blind_repeats": _text(protocol.blind_repeats)}),
        "all_well": dict(protocol.all_well),
        "fields": [_field(one) for one in protocol.fields],
        "rounds": [{"name": one.name} for one in protocol.rounds],
    }


def _field(field: Field) -> Said:
    measures = {name: _text(getattr(field, name)) for name in ("min", "max", "step")}
    return {
        "name": field.name,
        "of": field.of,
        "kind": field.kind,
        "label": dict(field.label),
        **({"required": True} if field.required else {}),
        **_known({"role": field.role, "unit": field.unit, **measures, "help": dict(field.help), "example": field.example}),
        **_known({"only_where": {name: list(values) for name, values in field.only_where.items()}}),
        **_known({"values": [_choice(one) for one in field.values]}),
    }


def _choice(choice: Choice) -> Said:
    return {"value": choice.value, "code": choice.code, "label": dict(choice.label)}


def _text(value: object) -> str | None:
    """A number as it stands in entries."""
    return None if value is None else str(value)


def _lots(view: View) -> list[Said]:
    """The nursery's lots; `ready` is what is left of those of plantable size, else of all."""
    planted = planted_by_lot(view)
    return [
        {**lot, **({"ready": left.left if left.ready is None else left.ready} if left else {})}
        for lot in _things(view, "lot", ("genotype", "structure"))
        for left in [lot_stock(view, lot["lot"], planted)]
    ]


# plots and corals


def _plots(view: View) -> list[Said]:
    corals, groups = _corals(view), _groups(view)
    plots = sorted(view.things("plot").items(), key=lambda one: (*in_order(one[1].get("name")), one[0]))
    return [
        {
            "plot": id_,
            **_known({name: said.get(name) for name in _PLOT}),
            "corals": corals.get(id_, []),
            **_known({"groups": groups.get(id_, [])}),
        }
        for id_, said in plots
    ]


def _corals(view: View) -> dict[str, list[Said]]:
    """By plot, in slate order, those that a diver is to look for."""
    last, photos = _last(view), _photos(view)
    found: dict[str, list[Said]] = defaultdict(list)
    rows = view.rows(
        "SELECT id, plot, tag, position, genotype, planted_on FROM coral WHERE plot IS NOT NULL AND fate <> 'withdrawn'"
    )
    for row in sorted(rows, key=lambda row: (*in_order(row["position"]), *in_order(row["tag"]), row["id"])):
        seen = last.get(row["id"])
        if seen is None or _is_to_be_looked_for(seen):
            known = _known({name: row[name] for name in ("tag", "position", "genotype", "planted_on")})
            found[row["plot"]].append({"coral": row["id"], **known, "last": seen, "photos": photos.get(row["id"])})
    return found


def _is_to_be_looked_for(seen: Said) -> bool:
    return bool(seen["status"] != "dead" and seen["searched_missing"] < SEARCHES_KEPT)


def _last(view: View) -> dict[str, Said]:
    """Of each coral the newest settled state, and on how many visits since it was found last it was looked for in vain."""
    # With max() alone, SQLite takes the other columns from the row that holds it (sqlite.org/lang_select.html, section 2.5).
    newest = view.rows(
        "SELECT coral, max(day) AS day, state, json_extract(said, '$.values') AS noted FROM seen"
        " WHERE state IS NOT NULL GROUP BY coral"
    )
    missed = view.rows(
        "SELECT coral, count(*) AS n FROM seen WHERE state = 'missing' AND day > coalesce((SELECT max(day) FROM seen AS found"
        " WHERE found.coral = seen.coral AND found.state <> 'missing'), '') GROUP BY coral"
    )
    times = {row["coral"]: row["n"] for row in missed}
    return {
        row["coral"]: {
            "day": row["day"],
            "status": row["state"],
            "searched_missing": times.get(row["coral"], 0),
            "values": json.loads(row["noted"]),
        }
        for row in newest
    }


def _photos(view: View) -> dict[str, Said]:
    """Of each coral its first photo and its newest, by the days of their sessions. A photo shows a row of its own session."""
    gone = view.redacted()
    marks = ", ".join("?" * len(_NOT_STANDING))
    rows = view.rows(
        "WITH shown AS (SELECT photo, line, unit AS session FROM photo WHERE line <> ''),"
        " lined AS (SELECT fate.coral, fate.session, json_extract(CAST(body AS TEXT), '$.values.row') AS line"
        "  FROM fate JOIN ledger USING (digest) WHERE fate.coral IS NOT NULL AND body IS NOT NULL"
        f"  AND fate.fate NOT IN ({marks}) AND fate.session IN (SELECT session FROM shown)"
        "  UNION ALL SELECT coral.id, session, line FROM coral JOIN shown ON line = coral.id)"
        " SELECT DISTINCT coral, photo, day FROM lined JOIN shown USING (session, line)"
        " JOIN session ON session.id = lined.session ORDER BY day, photo",
        *_NOT_STANDING,
    )
    found: dict[str, Said] = {}
    for row in rows:
        if row["photo"] not in gone:
            found.setdefault(row["coral"], {"first": row["photo"]})["newest"] = row["photo"]
    return found


def _groups(view: View) -> dict[str, list[Said]]:
    """By counted plot, what was planted of each genotype."""
    found: dict[str, list[Said]] = defaultdict(list)
    for row in view.counted():
        found[row["unit"]].append({"genotype": row["genotype"], "planted": row["planted"]})
    return found


# slates


def _slates_to_type(view: View) -> list[Said]:
    """Slates that were photographed and that nobody typed yet, the newest first."""
    sessions = view.sessions()
    typed = {row.session.values.get("types") for row in sessions.values()}
    photos: dict[str, list[str]] = defaultdict(list)
    gone = view.redacted()
    for row in view.rows("SELECT unit, photo FROM photo WHERE json_extract(said, '$.view') = 'slate' ORDER BY unit, digest"):
        if row["photo"] not in gone:
            photos[row["unit"]].append(row["photo"])
    waiting = [
        sessions[id_]
        for id_ in photos
        if id_ in sessions and id_ not in typed and not sessions[id_].session.has_observations and not sessions[id_].set_aside
    ]
    return [
        {
            "session": row.session.id,
            **_known({"site": row.site, "day": row.day, "recorder": row.session.values.get("recorder")}),
            "photos": photos[row.session.id],
        }
        for row in sorted(waiting, key=lambda row: (row.day or "", row.session.id), reverse=True)
    ]
