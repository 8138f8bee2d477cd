"""Survival: one headline, the fates it comes from, and a fold for each question more: each is a page of its own, too.

The first answer is quick, whatever the programme's size: it needs one curve. What a fold holds is asked for when it is opened.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any

from flask import Blueprint, Flask, Response, render_template, request

from fieldkit.base import Base, SayError, View, monitoring_protocol
from fieldkit.protocol import Protocol
from fieldkit.reports.causes import MISSING, NOT_NOTED
from fieldkit.reports.columns import known_labels
from fieldkit.reports.question import Question
from fieldkit.reports.survival import FEW_PLOTS, answer, as_known
from fieldkit.reports.tables import survival_csv
from fieldkit.server import chart
from fieldkit.server.asked import ESTIMATES, FILTERS, KEPT, Asked
from fieldkit.server.current import current_base, current_names
from fieldkit.server.kept import Waiting, kept
from fieldkit.server.names import Names

pages = Blueprint("survival", __name__)

FATES = ("alive", "dead", "missing", "withdrawn", "not_seen")
GROUPINGS = ("site", "genotype", "species", "cohort", "method", "plot", "site,genotype", "site,cohort", "site,method")
"""What curves can be told by on the page; the address takes any other two crossed."""
RANKED = ("genotype", "species", "method", "cohort")
"""What can be ranked: what does not lie within a site."""
PARTS = ("groups", "matrix", "ranking", "causes", "period", "effort")
"""The folds, in the order in which a programme lead asks."""

PANELS_AT_ONCE = 12  # groups drawn; the rest a fold away. Chosen by us.
MOST_PLOTS = 500  # names offered where one can be typed: more would make the page slow to load. Chosen by us.


@dataclass(frozen=True)
class Row:
    """One group in a table: its figures at the age that is shown."""

    group: Mapping[str, str]
    corals: int
    plots: int
    deaths: int
    missing: int
    lost: Mapping[str, Any] | None
    open: Mapping[str, Any] | None

    @property
    def rank(self) -> tuple[float, tuple[str, ...]]:
        """Best survival first; groups of which nothing is known at that age last."""
        share = self.lost["survival"] if self.lost else None
        return (1 if share is None else -share, tuple(self.group.values()))


@pages.get("/survival")
def show() -> str:
    """The page: every choice stands in its address, so that a figure can be found again."""
    asked = Asked(request.args)
    question, by, age = asked.question(), asked.by("site"), asked.age()
    asked.done()
    base = current_base()
    with base.view() as view:
        names = current_names(view)
        whole, waiting = told(base, view, question)
        known = kept().now(view, "choices", known_labels)
    everyone = everyone_of(whole)
    ages, shown = ages_told(everyone, age)
    fates = whole["fates"] if whole else {}
    return render_template(
        "survival.html",
        **common(question, names),
        answer=whole,
        waiting=waiting,
        fates=[(fate, fates[fate]) for fate in FATES if fates.get(fate)],
        planted=sum(fates.values()),
        everyone=row(everyone, shown) if everyone else None,
        panel=chart.panel(everyone, chart.last_age([everyone]), shown or 0) if everyone else None,
        age=shown,
        ages=ages,
        choices={name: known[name] for name in FILTERS},
        estimates=ESTIMATES,
        parts=PARTS,
        of_groups={"by": ",".join(by), **({"age": shown} if age else {})},
        most_plots=MOST_PLOTS,
    )


@pages.get("/survival/groups")
def groups() -> str:
    """Curves and a table, a group each, beside those of all corals."""
    asked = Asked(request.args)
    question, age = asked.question(asked.by("site")), asked.age()
    asked.done()
    base = current_base()
    with base.view() as view:
        names = current_names(view)
        whole, _ = told(base, view, replace(question, by=()))
        parts, waiting = told(base, view, question)
    everyone = everyone_of(whole)
    ages, shown = ages_told(everyone, age)
    found = sorted(parts["groups"] if parts else [], key=lambda group: row(group, shown).rank)
    panels = [chart.panel(group, chart.last_age(found), shown or 0) for group in found]
    return render_template(
        "survival/groups.html",
        **common(question, names),
        waiting=waiting,
        everyone=row(everyone, shown) if everyone else None,
        rows=[row(group, shown) for group in found],
        panels=[panel for panel in panels if panel],
        panels_at_once=PANELS_AT_ONCE,
        age=shown,
        ages=ages,
        groupings=GROUPINGS,
    )


@pages.get("/survival/matrix")
def matrix() -> str:
    """Sites and genotypes crossed."""
    asked = Asked(request.args)
    question, age = asked.question(("site", "genotype")), asked.age()
    asked.done()
    question = replace(question, limits="none")
    base = current_base()
    with base.view() as view:
        names = current_names(view)
        whole, _ = told(base, view, replace(question, by=()))
        crossed, waiting = told(base, view, question)
    ages, shown = ages_told(everyone_of(whole), age)
    found = crossed["groups"] if crossed else []
    cells = {(group["group"]["site"], group["group"]["genotype"]): row(group, shown) for group in found}
    return render_template(
        "survival/matrix.html",
        **common(question, names),
        waiting=waiting,
        cells=cells,
        sites=sorted({site for site, _ in cells}),
        genotypes=sorted({genotype for _, genotype in cells}),
        age=shown,
        ages=ages,
    )


@pages.get("/survival.csv")
def csv() -> Response:
    """Every figure of the same question as a table for a spreadsheet or a program: a row for each group, treatment and age."""
    asked = Asked(request.args)
    question = asked.question(asked.by(""))
    asked.done()
    base = current_base()
    with base.view() as view:
        found = kept().now(view, repr(question), lambda some: answer(some, question, protocol_of(base, some)))
    return as_csv("survival", survival_csv(found))


def make_ready(app: Flask) -> None:
    """Compute what `/survival` shows first, and its first fold, so that whoever opens it need not wait."""
    with app.app_context():
        base = current_base()
        with base.view() as view:
            kept().now(view, "choices", known_labels)
            for by in ((), ("site",)):
                told(base, view, Asked({}).question(by))


def as_csv(name: str, text: str) -> Response:
    """A table to keep."""
    return Response(text, mimetype="text/csv", headers={"Content-Disposition": f'attachment; filename="{name}.csv"'})


def told(base: Base, view: View, question: Question) -> tuple[Mapping[str, Any] | None, Waiting | None]:
    """The answer as people are told it; of a large programme first without limits, or nothing, while it is being computed."""

    def asked(some: Question) -> Callable[[View], dict[str, Any]]:
        return lambda view: answer(view, some, protocol_of(base, view))

    found = kept().at_once_or_soon(view, repr(question), asked(question))
    if not isinstance(found, Waiting):
        return as_known(found), None
    quick = replace(question, limits="none")
    if quick == question or question.as_of or question.estimate == "round":  # then every coral's history is told anew
        return None, found
    return as_known(kept().now(view, repr(quick), asked(quick))), found


def common(question: Question, names: Names) -> dict[str, Any]:
    """What every template about survival is given."""
    here = {name: request.args[name] for name in KEPT if request.args.get(name)}
    return {
        "question": question,
        "names": names,
        "chart": chart,
        "chosen": chosen(question, names),
        "here": here,
        "few_plots": FEW_PLOTS,
    }


def protocol_of(base: Base, view: View) -> Protocol | None:
    """The protocol whose rounds are the ages told. None where none is adopted: then they are told at the last age known."""
    with suppress(SayError):
        return monitoring_protocol(base, view)
    return None


def chosen(question: Question, names: Names) -> str:
    """In words what the figures are of."""
    words = [names.label(name, value) for name, value in question.where.items()] or [names.grouping("")]
    if question.as_of:
        words.append(names.reader.text("figures.as_of_day", day=names.reader.day(question.as_of)))
    return " · ".join(words)


def cause_name(cause: str, names: Names) -> str:
    """A cause of loss as the programme calls it, or what stands where there is none."""
    if cause in (MISSING, NOT_NOTED):
        return names.reader.text(f"figures.cause_{cause}")
    noted = next((known.name for protocol in names.protocols if (known := protocol.with_role("cause"))), "cause")
    return names.value(noted, cause)


def everyone_of(whole: Mapping[str, Any] | None) -> Mapping[str, Any] | None:
    """The one group of an answer that is told by nothing."""
    return next(iter(whole["groups"]), None) if whole else None


def ages_told(group: Mapping[str, Any] | None, age: int | None) -> tuple[list[int], int | None]:
    """The ages at which figures are told, and which of them is shown: the one asked for, where it is among them."""
    ages = [figure["age"] for figure in group["missing_lost"]["at"]] if group else []
    return ages, age if age in ages else headline_age(group)


def headline_age(group: Mapping[str, Any] | None) -> int | None:
    """The largest age at which enough corals were followed for a figure to be told without a mark; else the first there is."""
    figures = group["missing_lost"]["at"] if group else []
    enough = [figure["age"] for figure in figures if figure["at_risk"] >= chart.FEW and figure["survival"] is not None]
    return max(enough, default=figures[0]["age"] if figures else None)


def row(group: Mapping[str, Any], age: int | None) -> Row:
    """A group's figures at an age."""
    lost, open_ = (
        next((figure for figure in group[f"missing_{treatment}"]["at"] if figure["age"] == age), None)
        for treatment in chart.TREATMENTS
    )
    counts = {name: group[name] for name in ("corals", "plots", "deaths", "missing")}
    return Row(group["group"], **counts, lost=lost, open=open_)
