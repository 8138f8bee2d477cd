"""What the base knows for printed slates besides the register: the last note on a place, and the numbers of sheets."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fieldkit.base import View


def last_notes(view: View) -> dict[str, dict[str, str]]:
    """By plot, the note of the newest session in which something of it was observed and whose recorder wrote one.

    Returns:
        `note`, `recorder` (empty where nobody is named) and `day` (ISO 8601) of each.
    """
    rows = view.rows(
        "SELECT DISTINCT session, unit FROM fate"
        " WHERE fate NOT IN ('superseded', 'retracted', 'redacted', 'set aside', 'practice')"
    )
    sessions = view.sessions({row["session"] for row in rows})
    told = {
        id_: {"note": note.strip(), "recorder": str(row.session.values.get("recorder", "")), "day": row.day}
        for id_, row in sessions.items()
        if row.day and not row.set_aside and isinstance(note := row.session.values.get("note"), str) and note.strip()
    }
    found: dict[str, dict[str, str]] = {}
    for row in sorted(
        (row for row in rows if row["session"] in told), key=lambda row: (told[row["session"]]["day"], row["session"])
    ):
        found[row["unit"]] = told[row["session"]]
    return found


def boat_days(view: View, site: str, day: str) -> list[dict[str, Any]]:
    """What was written down of a day at a site: `boat_day`, `plots`, `crew`, `sheets`; several where several boats went."""
    found = sorted(view.things("boat_day").items())
    return [{**said, "boat_day": id_} for id_, said in found if said.get("site") == site and said.get("day") == day]


def next_sheets(view: View, many: int) -> list[str]:
    """Numbers for new sheets: after the highest that any boat day took out, so that no two sheets are taken for one another."""
    taken = [sheet for said in view.things("boat_day").values() for sheet in _sheets(said.get("sheets"))]
    highest = max((int(sheet) for sheet in taken if sheet.isascii() and sheet.isdecimal() and len(sheet) < 9), default=0)
    return [str(highest + place) for place in range(1, many + 1)]


def crew_of(view: View, named: Sequence[str]) -> list[str]:
    """People by initials or name, as the register knows them; whoever it does not know stays as written."""
    known = {
        str(called).casefold(): id_
        for id_, said in view.things("person").items()
        for called in (said.get("name"), said.get("initials"))
        if called
    }
    return [known.get(one.casefold(), one) for one in named]


def _sheets(said: object) -> list[str]:
    return [one for one in said if isinstance(one, str)] if isinstance(said, list) else []
