"""The corals behind a figure, as a list and as a table to keep."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from flask import Blueprint, Response, render_template, request

from fieldkit.base import View
from fieldkit.reports.behind import COLUMNS, FATES, FIGURES, WHYS, Listed, Part, behind
from fieldkit.reports.question import Question
from fieldkit.reports.tables import behind_csv
from fieldkit.server.asked import KEPT, Asked
from fieldkit.server.current import current_base, current_names
from fieldkit.server.kept import Waiting, kept
from fieldkit.server.pages.survival import RANKED, as_csv, cause_name, common, protocol_of

pages = Blueprint("behind", __name__)

AT_ONCE = 200  # rows on one page. Chosen by us.
NARROWED = ("since", "fate", "why", "unsettled", "figure", "age", "cause", "by", "beside")
"""What narrows a list beyond the question: which figure it stands behind."""


@pages.get("/survival/corals")
def show() -> str:
    """Tag, place and interval of each, and why it was left out; a page at a time."""
    asked = Asked(request.args)
    page = asked.number("page", 1)
    question, part, listed = _asked(asked, first=(page - 1) * AT_ONCE, most=AT_ONCE)
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
        part=part,
        cause_name=cause_name,
        pages=1 if isinstance(found, Waiting) else -(-found.subjects // AT_ONCE),
        args={name: request.args[name] for name in (*KEPT, *NARROWED) if request.args.get(name)},
    )


@pages.get("/survival/corals.csv")
def csv() -> Response:
    """All of them, as a table for a spreadsheet or a program."""
    _, _, listed = _asked(Asked(request.args))
    with current_base().view() as view:
        return as_csv("corals", behind_csv(listed(view)))


def _asked(asked: Asked, **some: Any) -> tuple[Question, Part, Callable[[View], Listed]]:
    question = asked.question()
    part = Part(
        fate=asked.one_of("fate", ("", *FATES), "figures.no_fate") or None,
        why=asked.one_of("why", ("", *WHYS), "figures.no_why") or None,
        unsettled=bool(asked.given.get("unsettled")),
        figure=asked.one_of("figure", ("", *(COLUMNS if asked.given.get("since") else FIGURES)), "figures.no_figure") or None,
        age=asked.age() or 0,
        cause=asked.given.get("cause") or None,
        since=asked.day("since"),
        beside=_beside(asked),
    )
    asked.done()
    base = current_base()
    return question, part, lambda view: behind(view, question, part, rounds=protocol_of(base, view), **some)


def _beside(asked: Asked) -> tuple[str, str] | None:
    """The other group of a pair, and what the two are told by."""
    other = asked.given.get("beside")
    return (asked.one_of("by", RANKED, "pages.no_grouping"), other) if other else None
