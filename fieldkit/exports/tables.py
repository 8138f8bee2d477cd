"""Every kind of thing as a tidy table: one row one thing, one column one fact."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from typing import Any

from fieldkit.base import SessionRow
from fieldkit.exports.places import position
from fieldkit.exports.programme import Programme
from fieldkit.exports.table import Cell, Row, Table, columns
from fieldkit.exports.values import Recorded
from fieldkit.ledger.fold import standing
from fieldkit.protocol import number
from fieldkit.protocol.number import whole
from fieldkit.settle.calendar import day_of

OF_A_ROW = frozenset({"row", "plot", "coral", "tag", "position", "genotype", "line", "searched", "note", "part", "parts"})
"""What every observation may say, beside the fields of its protocol."""
# fmt: off
OF_A_SESSION = frozenset({
    "session", "role", "protocol", "site", "day", "recorder", "typed_by", "buddy", "dive", "round", "visit",
    "practice", "types", "import", "note",
})
# fmt: on
COUNTED = ("alive", "dead", "missing")


def tables(programme: Programme) -> tuple[Table, ...]:
    """All tables, in the order in which they are read best."""
    return (
        corals(programme),
        visits(programme),
        counts(programme),
        observations(programme),
        sessions(programme),
        actions(programme),
        photos(programme),
        sites(programme),
        plots(programme),
        genotypes(programme),
        lots(programme),
        events(programme),
    )


# Corals and what became of them.


def corals(programme: Programme) -> Table:
    """A row each tagged coral: what was planted where, and the interval in which it was lost."""

    def rows() -> Iterator[Row]:
        for subject in programme.subjects:
            if subject.coral is None:
                continue
            coral = programme.corals[subject.coral]
            said = coral["said"]["values"]
            yield _called(programme, coral) | {
                "method": coral["method"],
                "planted_on": day_of(coral["planted_on"]),
                "precision": coral["precision"] or "day",
                "planted_size_cm": number(said.get("size_cm")),
                "points": whole(said.get("points")),
                "known_from": day_of(coral["known_from"]),
                "withdrawn_on": day_of(coral["withdrawn_on"]),
                "fate": subject.fate,
                "followed_from_days": subject.entry,
                "alive_days": subject.alive,
                "lost_days": subject.lost,
                "dead_days": subject.dead,
                "left_out": subject.left_out,
                "in_dispute": subject.disputed,
            }

    return Table(
        "corals",
        columns(
            *("coral", "site", "plot", "position", "tag", "genotype", "species", "method", ("planted_on", "day"), "precision"),
            *(("planted_size_cm", "number", "cm"), ("points", "whole", "1"), ("known_from", "day"), ("withdrawn_on", "day")),
            *("fate", ("followed_from_days", "whole", "d"), ("alive_days", "whole", "d"), ("lost_days", "whole", "d")),
            *(("dead_days", "whole", "d"), "left_out", ("in_dispute", "flag")),
        ),
        rows,
    )


def _called(programme: Programme, coral: Mapping[str, Any]) -> dict[str, Cell]:
    return {
        "coral": coral["id"],
        "site": programme.site_of(coral["plot"]),
        "plot": programme.plot_name(coral["plot"]),
        "position": coral["position"],
        "tag": coral["tag"],
        "genotype": programme.accession(coral["genotype"]),
        "species": programme.species(coral),
    }


def visits(programme: Programme) -> Table:
    """A row each coral and visit, as settled: the state that the figures use."""
    own = columns(
        *("coral", "site", "plot", "position", "tag", "genotype", "species", ("planted_on", "day"), "visit"),
        *(("seen_on", "day"), ("age_days", "whole", "d"), "state", ("in_dispute", "flag"), ("observations", "whole", "1")),
    )
    recorded = Recorded(programme.protocols(observing=True), "coral", own)

    def rows() -> Iterator[Row]:
        for coral, seen in programme.seen():
            day, planted = day_of(seen["day"]), day_of(coral["planted_on"])
            yield _called(programme, coral) | {
                "planted_on": planted,
                "visit": seen["visit"],
                "seen_on": day,
                "age_days": (day - planted).days if day and planted else None,
                "state": seen["state"],
                "in_dispute": seen["state"] is None,
                "observations": len(seen["said"]["digests"]),
                **recorded.cells(seen["said"]["values"]),
            }

    return Table("visits", (*own, *recorded.columns), rows)


def counts(programme: Programme) -> Table:
    """A row each genotype in a counted plot and visit; a group that nobody has visited has a row without a day."""
    named = ("site", "plot", "genotype", "species", "method")

    def rows() -> Iterator[Row]:
        seen: dict[tuple[str, str], list[Mapping[str, Any]]] = defaultdict(list)
        for counted in programme.counted():
            seen[counted["unit"], counted["genotype"]].append(counted)
        for group in programme.view.counted():
            plot, genotype = group["unit"], group["genotype"]
            if not programme.has_group(plot, genotype):
                continue
            labels = (
                programme.site_of(plot),
                programme.plot_name(plot),
                programme.accession(genotype),
                str(programme.genotypes.get(genotype, {}).get("species", "")),
                group["method"],
            )
            planted: Row = {"planted_on": day_of(group["planted_on"]), "planted": group["planted"]}
            for visit in seen[plot, genotype] or [{"day": None, "said": {"numbers": None}}]:
                numbers = dict(zip(COUNTED, visit["said"]["numbers"] or (None, None, None), strict=True))
                yield {**dict(zip(named, labels, strict=True)), **planted, "seen_on": day_of(visit["day"]), **numbers}

    return Table(
        "counts",
        columns(
            *(*named, ("planted_on", "day"), ("planted", "whole", "1"), ("seen_on", "day")),
            *((name, "whole", "1") for name in COUNTED),
        ),
        rows,
    )


# What was noted.


def observations(programme: Programme) -> Table:
    """A row each observation as it was handed in, with what became of it."""
    own = columns(
        *("observation", "session", ("entry", "whole", "1"), ("seen_on", "day"), "site", "plot", "coral"),
        *("tag_noted", "position_noted", "genotype", "line", ("searched", "flag"), "fate", "recorder", "note"),
        *((name, "whole", "1") for name in COUNTED),
    )
    recorded = Recorded(programme.protocols(observing=True), "coral", own)

    def rows() -> Iterator[Row]:
        for one in programme.view.observations():
            session = programme.sessions.get(one.session)
            if session is None or not (programme.is_whole or one.coral in programme.corals):
                continue
            values = {name: value for name, value in one.values.items() if name not in OF_A_ROW}
            counted = {name: whole(values.pop(name)) for name in COUNTED if whole(values.get(name)) is not None}
            plot = one.values.get("plot")
            yield {
                "observation": one.digest,
                "session": one.session,
                "entry": one.seq,
                "seen_on": day_of(session.day),
                "site": str(programme.sites.get(session.site or "", {}).get("name", "")),
                "plot": programme.plot_name(plot if isinstance(plot, str) else None),
                "coral": one.coral,
                "tag_noted": _text(one.values.get("tag")),
                "position_noted": _text(one.values.get("position")),
                "genotype": programme.accession(_text(one.values.get("genotype"))) or None,
                "line": _text(one.values.get("line")),
                "searched": one.values.get("searched") != "no",
                "fate": one.fate,
                "recorder": programme.person(session.session.values.get("recorder")),
                "note": programme.words(one.values.get("note")),
                **counted,
                **recorded.cells(values),
            }

    return Table("observations", (*own, *recorded.columns), rows)


def _text(value: object) -> str | None:
    return value if isinstance(value, str) else None


def sessions(programme: Programme) -> Table:
    """A row each session: when, where, under which protocol, and who."""
    own = columns(
        *("session", ("seen_on", "day"), "site", "protocol", ("protocol_version", "whole", "1"), "recorder", "typed_by"),
        *("buddy", "dive", "round", ("practice", "flag"), ("set_aside", "flag"), "note"),
    )
    recorded = Recorded(programme.protocols(), "head", own)

    def rows() -> Iterator[Row]:
        for id_, row in sorted(programme.sessions.items(), key=lambda item: (item[1].day or "", item[0])):
            if not programme.is_whole and row.site not in programme.sites_here:
                continue
            protocol = programme.protocol_of(id_)
            said = row.session.values
            others = {name: value for name, value in said.items() if name not in OF_A_SESSION}
            yield {
                "session": id_,
                "seen_on": day_of(row.day),
                "site": str(programme.sites.get(row.site or "", {}).get("name", "")),
                "protocol": protocol.name if protocol else None,
                "protocol_version": protocol.version if protocol else None,
                **{name: programme.person(said.get(name)) for name in ("recorder", "typed_by", "buddy")},
                **{name: _text(said.get(name)) for name in ("dive", "round")},
                "practice": row.session.is_practice,
                "set_aside": row.set_aside,
                "note": programme.words(said.get("note")),
                **recorded.cells(others),
            }

    return Table("sessions", (*own, *recorded.columns), rows)


def actions(programme: Programme) -> Table:
    """A row each thing that was done to a coral or a plot."""

    def rows() -> Iterator[Row]:
        said = programme.view.ledger.of_kind("action")
        around = said + programme.view.ledger.mentioning([entry.digest for entry in said])
        known: dict[str, SessionRow] = programme.view.sessions({entry.session for entry in around})
        heads = standing(around, {id_: row.session for id_, row in known.items()}).heads
        for entry in said:
            day, coral = known[entry.session].day, programme.corals.get(str(entry.values.get("coral")))
            plot = coral["plot"] if coral else _text(entry.values.get("plot"))
            here = coral is not None or (plot in programme.plots_here and "coral" not in entry.values)
            if entry.digest not in heads or not here or not programme.scope.holds(day):
                continue
            done = entry.values.get("done", "other")
            yield {
                "action": entry.digest,
                "session": entry.session,
                "done_on": day_of(day),
                "coral": coral["id"] if coral else None,
                "site": programme.site_of(plot),
                "plot": programme.plot_name(plot),
                "done": ";".join(map(str, done)) if isinstance(done, list) else str(done),
                "count": whole(entry.values.get("count")),
                "tag_new": _text(entry.values.get("tag")),
                "note": programme.words(entry.values.get("note")),
            }

    return Table(
        "actions",
        columns(
            *("action", "session", ("done_on", "day"), "coral", "site", "plot", "done", ("count", "whole", "1"), "tag_new"),
            "note",
        ),
        rows,
    )


def photos(programme: Programme) -> Table:
    """A row each photo that a session promised, by the digest of its bytes; the pictures travel in carry files."""

    def rows() -> Iterator[Row]:
        line = {str(one.values.get("row")): one for one in programme.view.observations() if one.coral in programme.corals}
        for row in programme.view.rows("SELECT unit FROM photo GROUP BY unit ORDER BY unit"):
            session = programme.sessions.get(row["unit"])
            if session is None:
                continue
            for photo in programme.view.photos_of_session(row["unit"]):
                shown = line.get(photo["line"])
                if photo["photo"] and (shown or (programme.is_whole and not photo["line"])):
                    yield {
                        "photo": photo["photo"],
                        "session": row["unit"],
                        "seen_on": day_of(session.day),
                        "observation": shown.digest if shown else None,
                        "coral": shown.coral if shown else None,
                        "shows": _text(photo["said"].get("view")),
                        "camera_time": _text(photo["said"].get("camera_time")),
                        "media_type": _text(photo["said"].get("type")),
                    }

    return Table(
        "photos",
        columns("photo", "session", ("seen_on", "day"), "observation", "coral", "shows", "camera_time", "media_type"),
        rows,
    )


# The register.


def sites(programme: Programme) -> Table:
    """A row each site, with its position as exactly as the scope tells it."""

    def rows() -> Iterator[Row]:
        for site in _by_name(programme.sites_here):
            where = position(site, programme.scope.places)
            yield {
                "site": _text(site.get("name")),
                "code": _text(site.get("code")),
                "latitude": where.latitude if where else None,
                "longitude": where.longitude if where else None,
                "uncertainty_m": where.uncertainty_m if where else None,
                "rounded_to": where.grain if where and where.grain != "exact" else None,
                "depth_m": number(site.get("depth_m")),
                "habitat": _text(site.get("habitat")),
                "time_zone": _text(site.get("time_zone")),
                "note": programme.words(site.get("note")),
            }

    return Table(
        "sites",
        columns(
            *("site", "code", ("latitude", "number", "deg"), ("longitude", "number", "deg"), ("uncertainty_m", "whole", "m")),
            *("rounded_to", ("depth_m", "number", "m"), "habitat", "time_zone", "note"),
        ),
        rows,
    )


_FINDS = ("marker", "landmark", "bearing_deg", "distance_m")
"""What leads a boat to a plot: told only where places are told exactly."""


def plots(programme: Programme) -> Table:
    """A row each plot."""

    def rows() -> Iterator[Row]:
        exact = programme.scope.places == "exact"
        for plot in _by_name(programme.plots_here):
            found = {name: plot.get(name) for name in _FINDS if exact}
            yield {
                "site": str(programme.sites.get(str(plot.get("site")), {}).get("name", "")),
                "plot": _text(plot.get("name")),
                **{name: _text(plot.get(name)) for name in ("recorded_as", "followed", "shape", "substrate")},
                **{name: _text(found.get(name)) for name in ("marker", "landmark")},
                **{name: number(found.get(name)) for name in ("bearing_deg", "distance_m")},
                **{name: number(plot.get(name)) for name in ("area_m2", "depth_m")},
                "note": programme.words(plot.get("note")),
            }

    return Table(
        "plots",
        columns(
            *("site", "plot", "recorded_as", "followed", "shape", ("area_m2", "number", "m2"), ("depth_m", "number", "m")),
            *("substrate", "marker", "landmark", ("bearing_deg", "number", "deg"), ("distance_m", "number", "m"), "note"),
        ),
        rows,
    )


def genotypes(programme: Programme) -> Table:
    """A row each genotype."""
    names = ("species", "species_id", "provenance", "known_by", "genet")

    def rows() -> Iterator[Row]:
        for one in sorted(programme.genotypes_here.values(), key=lambda said: str(said.get("accession", ""))):
            said = {name: _text(one.get(name)) for name in names}
            yield {"genotype": _text(one.get("accession")), **said, "note": programme.words(one.get("note"))}

    return Table("genotypes", columns("genotype", *names, "note"), rows)


def lots(programme: Programme) -> Table:
    """A row each lot of the nursery."""

    def rows() -> Iterator[Row]:
        for id_, lot in sorted(programme.view.things("lot").items()):
            day = _text(lot.get("day"))
            if lot.get("genotype") in programme.genotypes_here and programme.scope.holds(day):
                numbers = {"fragments": whole(lot.get("count")), "ready": whole(lot.get("ready"))}
                genotype = programme.accession(_text(lot.get("genotype")))
                yield {"lot": id_, "genotype": genotype, "structure": _text(lot.get("structure")), **numbers,
                       "counted_on": day_of(day)}  # fmt: skip

    return Table(
        "lots",
        columns("lot", "genotype", "structure", ("fragments", "whole", "1"), ("ready", "whole", "1"), ("counted_on", "day")),
        rows,
    )


def events(programme: Programme) -> Table:
    """A row each event and site that it touched."""

    def rows() -> Iterator[Row]:
        for id_, event in sorted(programme.view.things("event").items()):
            touched = event.get("sites")
            for site in touched if isinstance(touched, list) else []:
                if site in programme.sites_here and programme.scope.holds(_text(event.get("from"))):
                    yield {
                        "event": id_,
                        "what": _text(event.get("what")),
                        "from": day_of(event.get("from")),
                        "until": day_of(event.get("until")),
                        "site": str(programme.sites[site].get("name", "")),
                    }

    return Table("events", columns("event", "what", ("from", "day"), ("until", "day"), "site"), rows)


def _by_name(things: Mapping[str, Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    return sorted(things.values(), key=lambda said: str(said.get("name", "")))
