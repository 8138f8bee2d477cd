"""What a programme lead asks beyond the curve: each question a page, a fold of the survival page, and a table to keep."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import partial
from typing import Any, get_args

from flask import Blueprint, Response, render_template, request

from fieldkit.base import View
from fieldkit.errors import Fault
from fieldkit.reports.causes import Causes, causes
from fieldkit.reports.effort import effort
from fieldkit.reports.period import Period, period
from fieldkit.reports.question import Question
from fieldkit.reports.ranking import Pair, Ranking, Verdict, ranking
from fieldkit.reports.tables import causes_csv, effort_csv, pairs_csv, period_csv, ranking_csv
from fieldkit.server import shapes
from fieldkit.server.asked import Asked
from fieldkit.server.current import current_base, current_names
from fieldkit.server.kept import Waiting, kept
from fieldkit.server.names import Names
from fieldkit.server.pages.survival import RANKED, as_csv, cause_name, common, protocol_of

pages = Blueprint("questions", __name__)

GROUPS = ("", "site", "genotype", "species", "cohort", "method", "plot")
AGE = 365
DIFFERENCE, POWER = 20, 80
"""Points of survival that matter, and in how many of a hundred cases they should be found: common practice, no source."""
PAIRS_AT_ONCE = 200  # named on the page; the table has all. Chosen by us.
_GROUPS_IN_WORDS = frozenset({"label", "more", "less", "one", "other"})
STACKS_AT_ONCE = 12  # groups drawn. Chosen by us.
YEAR = timedelta(days=365)


@dataclass(frozen=True)
class Part:
    """A question as its address asks it."""

    question: Question
    compute: Callable[[View], Any]
    shown: Mapping[str, Any] = field(default_factory=dict)
    """What its form shows beside the words of the question."""

    def key(self, name: str) -> Hashable:
        return name, repr(self.question), repr(self.shown)


@pages.get("/survival/<any(ranking, causes, period, effort):name>")
def show(name: str) -> str:
    """A question's answer as a page; the survival page takes its main part for a fold."""
    part = _read(name)
    with current_base().view() as view:
        found = kept().at_once_or_soon(view, part.key(name), part.compute)
        names = current_names(view)
    waiting = found if isinstance(found, Waiting) else None
    return render_template(
        f"survival/{name}.html",
        **common(part.question, names),
        **part.shown,
        found=None if waiting else found,
        waiting=waiting,
        **(_DRAWN[name](found, names) if name in _DRAWN and not waiting else {}),
        ranked=RANKED,
        groupings=GROUPS,
        shapes=shapes,
    )


@pages.get("/survival/<any(ranking, pairs, causes, period, effort):name>.csv")
def csv(name: str) -> Response:
    """The same as a table for a spreadsheet or a program."""
    asked = "ranking" if name == "pairs" else name
    part = _read(asked)
    with current_base().view() as view:
        found = kept().now(view, part.key(asked), part.compute)
    return as_csv(name, _TABLES[name](found.to_json()) if found else "")


def _read(name: str) -> Part:
    asked = Asked(request.args)
    part = _READ[name](asked)
    asked.done()
    return part


def _ranking(asked: Asked) -> Part:
    question, base = asked.question((asked.one_of("by", RANKED, "pages.no_grouping"),)), current_base()
    return Part(question, lambda view: ranking(view, question, protocol_of(base, view)))


def _causes(asked: Asked) -> Part:
    question, base = asked.question(asked.by("")), current_base()

    def told(view: View) -> Causes:
        # Dated when found, what a round of some weeks found after its nominal age would be missing at that age.
        protocol = protocol_of(base, view)
        by_round = question.estimate == "npmle" and protocol is not None
        return causes(view, replace(question, estimate="round") if by_round else question, protocol)

    return Part(question, told)


def _period(asked: Asked) -> Part:
    question, start, end = asked.question(asked.by("site")), asked.day("from"), asked.day("until")

    def counted(view: View) -> Period | None:
        last = end or question.as_of or _last_day(view)
        return period(view, start or last - YEAR, last, question.by, question.where) if last else None

    return Part(question, counted, {"start": start, "end": end})


def _effort(asked: Asked) -> Part:
    question, age = asked.question(asked.by("genotype")), asked.age(AGE) or AGE
    difference, power = asked.percent("difference", DIFFERENCE), asked.percent("power", POWER)
    base = current_base()
    return Part(
        question,
        lambda view: effort(
            view,
            question,
            age_days=age,
            difference=difference / 100,
            power=power / 100,
            protocol=protocol_of(base, view),
        ),
        {"age": age, "difference": difference, "power": power},
    )


def _ranking_drawn(found: Ranking, names: Names) -> dict[str, Any]:
    def sentence(fault: Fault) -> str:
        """Of a place or a pair, the groups as they are called here."""
        called = {name: names.label(found.by, str(value)) for name, value in fault.data.items() if name in _GROUPS_IN_WORDS}
        return Fault(fault.key, {**fault.data, **called}).text(names.reader.language)

    pairs: dict[str, list[Pair]] = {verdict: [] for verdict in get_args(Verdict)}
    for pair in found.lost.pairs:
        pairs[pair.verdict].append(pair)
    return {
        "open_places": {place.label: place for place in found.open.places},
        "sets": len({place.set for place in found.lost.places if place.rank}),
        "sentence": sentence,
        "unranked": [sentence(fault) for place in found.lost.places for fault in place.said()],
        "pairs": pairs,
        "most_pairs": PAIRS_AT_ONCE,
    }


def _causes_drawn(_: Causes, names: Names) -> dict[str, Any]:
    return {"cause_name": partial(cause_name, names=names), "stacks_at_once": STACKS_AT_ONCE}


def _last_day(view: View) -> date | None:
    """The last day on which anything was observed."""
    (row,) = view.rows("SELECT max(day) AS day FROM session WHERE visits")
    return date.fromisoformat(row["day"]) if row["day"] else None


_READ: Mapping[str, Callable[[Asked], Part]] = {
    "ranking": _ranking,
    "causes": _causes,
    "period": _period,
    "effort": _effort,
}
_DRAWN: Mapping[str, Callable[[Any, Names], dict[str, Any]]] = {"ranking": _ranking_drawn, "causes": _causes_drawn}
"""What a template is given beside the answer."""
_TABLES: Mapping[str, Callable[[dict[str, Any]], str]] = {
    "ranking": ranking_csv,
    "pairs": pairs_csv,
    "causes": causes_csv,
    "period": period_csv,
    "effort": effort_csv,
}
