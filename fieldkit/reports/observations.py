"""Every observation with its session, its values and what became of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldkit.base import View
from fieldkit.register.names import folded
from fieldkit.reports.errors import QuestionError
from fieldkit.reports.matters import called
from fieldkit.settle.place import noted

KEYS = ("site", "plot", "coral", "recorder", "day", "fate", "session", "digest", "noted")


def observations(view: View, where: Mapping[str, str] | None = None) -> list[dict[str, Any]]:
    """All observations, or those for which every key of `where` has that value (compared as names are), as JSON holds them.

    Raises:
        QuestionError: `where` names a key that observations do not have.
    """
    wanted = {name: folded(value) for name, value in (where or {}).items()}
    for name in wanted:
        if name not in KEYS:
            raise QuestionError.of("reports.no_key", name=name, known=", ".join(KEYS))
    sites, plots = view.things("site"), view.things("plot")
    sessions = view.sessions()
    corals = {row["id"]: called(row) for row in view.corals()}
    found = []
    for row in view.observations():
        session = sessions[row.session]
        shown = {
            "digest": row.digest,
            "session": row.session,
            "seq": row.seq,
            "day": session.day,
            "site": sites.get(session.site or "", {}).get("name"),
            "plot": plots.get(str(row.values.get("plot")), {}).get("name"),
            "recorder": session.session.values.get("recorder"),
            "coral": corals.get(row.coral or ""),
            "noted": noted(row.values),
            "fate": row.fate,
            "values": dict(row.values),
        }
        if all(folded(str(shown[name] or "")) == value for name, value in wanted.items()):
            found.append(shown)
    return found
