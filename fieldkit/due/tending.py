"""What was done to corals that needed a hand, as actions' entries; and how they are taken back. Reads only."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from fieldkit.base import SessionRow, Statement, View
from fieldkit.due.errors import DueError
from fieldkit.due.hands import DONE
from fieldkit.errors import Fault, raise_all
from fieldkit.ledger import Entry, derived_id
from fieldkit.ledger.entry import MAX_REPLACES
from fieldkit.register.fields import MAX_TEXT, cleaned

MOST_AT_ONCE = 150
"""Hands that are written down at once: more than a crew gives in a day, and what a form may send. Chosen by us."""


@dataclass(frozen=True, slots=True)
class Given:
    """A hand that was given to a coral; `tag` is what a new tag says, `count` how many predators were taken off."""

    coral: str
    hand: str
    tag: str = ""
    count: str = ""


def tending(view: View, given: Iterable[Given], *, day: date, today: date, once: str) -> tuple[list[Statement], dict[str, Any]]:
    """The statements that say so, and what their session says of itself.

    Args:
        day: when it was done.
        today: nothing was done after it.
        once: an id of the form that was filled in: sent twice, it is written once, and gives no statements the second time.

    Raises:
        DueError: names everything that cannot be: a day to come, a coral that is not there, a new tag without its name.
    """
    given = list(given)
    corals = {row["id"]: row for row in view.corals({one.coral for one in given})}
    raise_all(DueError, _faults(given, corals, day, today))
    written = {entry.values.get("row") for entry in view.ledger.about(corals) if entry.kind == "action"}
    said = [(derived_id("tended", once, one.coral, one.hand), one) for one in given]
    statements = [_statement(row, one, corals[one.coral]) for row, one in said if row not in written]
    plots = view.things("plot")
    sites = {plots.get(str(row["plot"]), {}).get("site") for row in corals.values()}
    (site,) = sites if len(sites) == 1 else (None,)
    return statements, {"day": day.isoformat(), **({"site": site} if isinstance(site, str) else {})}


def tended_in(view: View, session: str) -> list[tuple[Entry, SessionRow]]:
    """What was done by a session and stands."""
    return [(entry, row) for entry, row in view.actions() if entry.session == session]


def taken_back(entries: Iterable[Entry]) -> list[Statement]:
    """The statements that these entries hold no more."""
    gone = [entry.digest for entry in entries]
    return [Statement("retract", {}, tuple(gone[i : i + MAX_REPLACES])) for i in range(0, len(gone), MAX_REPLACES)]


def _faults(given: list[Given], corals: Mapping[str, Any], day: date, today: date) -> list[Fault]:
    faults = []
    if not given:
        faults.append(Fault("due.nothing_chosen"))
    if len(given) > MOST_AT_ONCE:
        faults.append(Fault("due.too_many_at_once", {"most": MOST_AT_ONCE}))
    if day > today:
        faults.append(Fault("due.done_later", {"day": day.isoformat()}))
    for one in given:
        if one.coral not in corals or one.hand not in DONE:
            faults.append(Fault("due.no_coral", {"coral": one.coral[:40]}))
        elif one.hand == "new_tag" and not cleaned(one.tag):
            faults.append(Fault("due.no_tag", {"coral": str(corals[one.coral]["tag"] or corals[one.coral]["position"] or "")}))
        elif len(one.tag) > MAX_TEXT or len(one.count) > MAX_TEXT:
            faults.append(Fault("programme.too_long", {"most": MAX_TEXT}))
    return faults


def _statement(row: str, one: Given, coral: Mapping[str, Any]) -> Statement:
    more = {"tag": cleaned(one.tag) if one.hand == "new_tag" else "", "count": cleaned(one.count), "plot": coral["plot"]}
    said = {"row": row, "coral": one.coral, "done": DONE[one.hand]}
    return Statement("action", said | {name: value for name, value in more.items() if value})
