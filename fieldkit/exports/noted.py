"""What was noted, as it was handed in: observations, the sessions they stand in, what was done, photos."""

from __future__ import annotations

from collections.abc import Iterator

from fieldkit.base import SessionRow
from fieldkit.exports.corals import COUNTED
from fieldkit.exports.programme import Programme, text_of
from fieldkit.exports.table import Row, Table, columns
from fieldkit.exports.values import Recorded
from fieldkit.ledger.fold import standing
from fieldkit.protocol.number import whole
from fieldkit.settle.calendar import day_of

# What has a column of its own, or is told by none: ids, roles and names of people.
_OF_A_ROW = frozenset({"row", "plot", "coral", "tag", "position", "genotype", "line", "searched", "note"})
_OF_A_SESSION = frozenset(
    {"role", "protocol", "site", "day", "recorder", "typed_by", "buddy", "dive", "round", "practice", "note"}
)


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
            values = {name: value for name, value in one.values.items() if name not in _OF_A_ROW}
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
                "tag_noted": text_of(one.values.get("tag")),
                "position_noted": text_of(one.values.get("position")),
                "genotype": programme.accession(text_of(one.values.get("genotype"))) or None,
                "line": text_of(one.values.get("line")),
                "searched": one.values.get("searched") != "no",
                "fate": one.fate,
                "recorder": programme.person(session.session.values.get("recorder")),
                "note": programme.words(one.values.get("note")),
                **counted,
                **recorded.cells(values),
            }

    return Table("observations", (*own, *recorded.columns), rows)


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
            others = {name: value for name, value in said.items() if name not in _OF_A_SESSION}
            yield {
                "session": id_,
                "seen_on": day_of(row.day),
                "site": str(programme.sites.get(row.site or "", {}).get("name", "")),
                "protocol": protocol.name if protocol else None,
                "protocol_version": protocol.version if protocol else None,
                **{name: programme.person(said.get(name)) for name in ("recorder", "typed_by", "buddy")},
                **{name: text_of(said.get(name)) for name in ("dive", "round")},
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
            plot = coral["plot"] if coral else text_of(entry.values.get("plot"))
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
                "tag_new": text_of(entry.values.get("tag")),
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
                        "shows": text_of(photo["said"].get("view")),
                        "camera_time": text_of(photo["said"].get("camera_time")),
                        "media_type": text_of(photo["said"].get("type")),
                    }

    return Table(
        "photos",
        columns("photo", "session", ("seen_on", "day"), "observation", "coral", "shows", "camera_time", "media_type"),
        rows,
    )
