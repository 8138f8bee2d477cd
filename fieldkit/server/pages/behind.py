"""The corals behind a figure, as a list and as a table to keep."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from flask import Blueprint, Response, render_template, request

from fieldkit.base import View
from fieldkit.reports.behind import FATES, WHYS, Listed, behind
from fieldkit.reports.tables import behind_csv
from fieldkit.server.asked import KEPT, Asked
from fieldkit.server.current import current_base, current_names
from fieldkit.server.kept import Waiting, kept
from fieldkit.server.pages.survival import as_csv, common, protocol_of

pages = Blueprint("behind", __name__)

AT_ONCE = 200  # rows on one page. Chosen by us.
NARROWED = ("since", "fate", "why", "unsettled")


@pages.get("/survival/corals")
def show() -> str:
    """Tag, place and interval of each, and why it was left out; a page at a time."""
    asked = Asked(request.args)
    page = asked.number("page", 1)
    question, listed = _asked(asked, first=(page - 1) * AT_ONCE, most=AT_ONCE)
    with current_base().view() as view:
        names = current_names(view)
        found = kept().at_once_or_soon(view, ("corals", repr(sorted(request.args.items()))), listed)
    waiting = found if isinstance(found, Waiting) else None
    return render_template(
        "survival/behind.html",
        **common(question, names),
        found=found,
        waiting=waiting,
        page=page,
        pages=1 if isinstance(found, Waiting) else -(-found.subjects // AT_ONCE),
        args={name: request.args[name] for name in (*KEPT, *NARROWED) if request.args.get(name)},
    )


@pages.get("/survival/corals.csv")
def csv() -> Response:
    """All of them, as a table for a spreadsheet or a program."""
    _, listed = _asked(Asked(request.args))
    with current_base().view() as view:
        return as_csv("corals", behind_csv(listed(view)))


def _asked(asked: Asked, **some: Any) -> tuple[Any, Callable[[View], Listed]]:
    question, since = asked.question(), asked.day("since")
    fate = asked.one_of("fate", ("", *FATES), "figures.no_fate")
    why = asked.one_of("why", ("", *WHYS), "figures.no_why")
    unsettled = bool(asked.given.get("unsettled"))
    asked.done()
    base = current_base()

    def listed(view: View) -> Listed:
        return behind(
            view,
            where=question.where,
            as_of=question.as_of,
            since=since,
            rounds=protocol_of(base, view) if question.estimate == "round" else None,
            fate=fate or None,
            why=why or None,
            unsettled=unsettled,
            **some,
        )

    return question, listed
