"""Photos that show the same picture, told by the corals that they are said to show. One picture claimed by two tags is a strong
sign that one of them was misread; a picture kept twice of one coral only fills the page.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from fieldkit.base import SessionRow, View
from fieldkit.photos import Looks
from fieldkit.reports.matters import called
from fieldkit.settle.place import noted


@dataclass(frozen=True)
class Shows:
    """What one entry says that a photo shows: a row of its session's slate."""

    photo: str
    line: str
    day: str
    recorder: str
    coral: str
    """Its id; empty while nobody knows which it is."""
    called: str
    """The coral as it is called; else what the slate calls it."""
    plot: str

    @property
    def claims(self) -> tuple[str, str]:
        """What it is said to be: the coral, or while that is not known what was noted."""
        return (self.coral, "" if self.coral else self.called)


def shown(view: View, photos: Collection[str]) -> dict[str, list[Shows]]:
    """By photo, all that entries say that it shows. One that shows no row of a slate is left out."""
    sql = "SELECT DISTINCT photo, line, unit FROM photo WHERE line <> '' AND photo IN (SELECT value FROM json_each(?))"
    rows = view.rows(sql, list(photos))
    sessions = view.sessions({row["unit"] for row in rows})
    corals = _corals_of_lines(view, rows)
    plots = view.things("plot")
    found: dict[str, list[Shows]] = defaultdict(list)
    for row in rows:
        if (of := corals.get((row["unit"], row["line"]))) is not None:
            coral, name, plot = of
            day, who = sessions[row["unit"]].day or "", _recorder(sessions[row["unit"]])
            place = str(plots.get(plot, {}).get("name", ""))
            found[row["photo"]].append(Shows(row["photo"], row["line"], day, who, coral, name, place))
    return {photo: sorted(told, key=lambda one: (one.day, one.recorder, one.line)) for photo, told in found.items()}


def claimed_besides(view: View, looks: Looks, photos: Collection[str]) -> dict[str, list[Shows]]:
    """Of each of these photos, everything that it or one that shows the same picture is said to show."""
    alike = looks.alike(photos)
    told = shown(view, {*photos, *(other for others in alike.values() for other in others)})
    return {photo: [one for name in (photo, *alike.get(photo, ())) for one in told.get(name, ())] for photo in photos}


def same_pictures(view: View, looks: Looks) -> list[list[Shows]]:
    """Sets of claims to one picture, those of several corals first, the newest first."""
    twice = view.rows("SELECT photo FROM photo WHERE line <> '' GROUP BY photo HAVING count(DISTINCT line) > 1")
    together = _together([*looks.pairs(), *((row["photo"], row["photo"]) for row in twice)])
    told = shown(view, {photo for photos in together for photo in photos})
    claims = [[one for photo in photos for one in told.get(photo, ())] for photos in together]
    several = [sorted(found, key=lambda one: (one.day, one.called)) for found in claims if len(found) > 1]
    return sorted(several, key=lambda found: (is_of_several(found), found[-1].day, found[0].photo), reverse=True)


def is_of_several(claims: Iterable[Shows]) -> bool:
    """Whether one picture is said to show different corals."""
    return len({one.claims for one in claims}) > 1


def _together(pairs: Iterable[tuple[str, str]]) -> list[set[str]]:
    """Whatever is tied by pairs, however many steps apart."""
    of: dict[str, set[str]] = {}
    for one, other in pairs:
        joined = of.setdefault(one, {one}) | of.setdefault(other, {other})
        of |= dict.fromkeys(joined, joined)
    return list({id(found): found for found in of.values()}.values())


def _corals_of_lines(view: View, rows: Iterable[Mapping[str, str]]) -> dict[tuple[str, str], tuple[str, str, str]]:
    """By session and line: the coral's id, what it is called, and its plot, or as the slate has them while it is not known."""
    wanted = {(row["unit"], row["line"]) for row in rows}
    digests = view.rows(
        "SELECT digest, unit FROM fate WHERE fate NOT IN ('superseded', 'retracted', 'redacted', 'practice')"
        " AND session IN (SELECT value FROM json_each(?))",
        list({session for session, _ in wanted}),
    )
    unit_of = {row["digest"]: row["unit"] for row in digests}
    seen = [row for row in view.observations(unit_of) if (row.session, str(row.values.get("row"))) in wanted]
    corals = {row["id"]: row for row in view.corals({row.coral for row in seen if row.coral} | {line for _, line in wanted})}
    # A photo of the planting shows the coral whose id is the row.
    found = {key: (key[1], called(corals[key[1]]), corals[key[1]]["plot"] or "") for key in wanted if key[1] in corals}
    for row in seen:
        coral = corals.get(row.coral or "")
        told = (coral["id"], called(coral), coral["plot"] or "") if coral else ("", noted(row.values), unit_of[row.digest])
        found[row.session, str(row.values["row"])] = told
    return found


def _recorder(session: SessionRow) -> str:
    return str(session.session.values.get("recorder", ""))
