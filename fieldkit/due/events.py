"""A storm, a heat wave, a disease: an event said and taken back. Reads only."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from fieldkit.base import Statement, View
from fieldkit.due.errors import DueError
from fieldkit.due.tending import taken_back
from fieldkit.errors import Fault, raise_all
from fieldkit.ledger.fold import standing
from fieldkit.protocol.protocol import EVENTS


def event_statement(
    view: View, id_: str, *, what: str, since: date | None, until: date | None, sites: Iterable[str], today: date
) -> Statement:
    """The statement that an event was.

    Raises:
        DueError: names everything that cannot be: no such kind, no day, a day to come, an end before it began, no such site.
    """
    sites, known = list(dict.fromkeys(sites)), view.things("site")
    faults = []
    if what not in EVENTS:
        faults.append(Fault("due.no_such_event", {"value": what[:40], "known": ", ".join(EVENTS)}))
    if since is None:
        faults.append(Fault("due.no_first_day"))
    elif since > today:
        faults.append(Fault("due.event_to_come", {"day": since.isoformat()}))
    if since and until and until < since:
        faults.append(Fault("due.ends_before", {"since": since.isoformat(), "until": until.isoformat()}))
    if not sites:
        faults.append(Fault("due.no_sites"))
    faults += [Fault("due.no_such_site", {"site": site[:40]}) for site in sites if site not in known]
    raise_all(DueError, faults)
    days = {"from": str(since), **({"until": until.isoformat()} if until else {})}
    return Statement("event", {"event": id_, "what": what, **days, "sites": sites})


def event_taken_back(view: View, id_: str) -> list[Statement]:
    """The statements that there was no such event; none where none is known."""
    said = [entry for entry in view.ledger.about([id_]) if entry.kind == "event"]
    around = said + view.ledger.mentioning([entry.digest for entry in said])
    known = view.sessions({entry.session for entry in around})
    heads = standing(around, {one: row.session for one, row in known.items()}).heads
    return taken_back(entry for entry in said if entry.digest in heads)
