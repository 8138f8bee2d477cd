"""Survival: one headline, the fates it comes from, curves, and a table of every figure on them."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from flask import Blueprint, Response, render_template, request

from fieldkit.base import Base, SayError, View, monitoring_protocol
from fieldkit.errors import Fault, raise_all
from fieldkit.protocol import Protocol
from fieldkit.reports.columns import LABELS, columns
from fieldkit.reports.survival import Estimate, Question, answer, as_known
from fieldkit.reports.tables import survival_csv
from fieldkit.server import chart
from fieldkit.server.current import current_base, current_names
from fieldkit.server.errors import RequestError
from fieldkit.server.names import Names

pages = Blueprint("survival", __name__)

ESTIMATES: tuple[Estimate, ...] = ("npmle", "found", "round")
FATES = ("alive", "dead", "missing", "withdrawn", "not_seen")
FILTERS = ("site", "genotype", "species", "cohort", "method")
GROUPINGS = ("", "site", "genotype", "species", "cohort", "method", "plot", "site,genotype", "site,cohort")
"""What figures can be told by; the first is all corals together."""


PANELS_AT_ONCE = 13  # all corals, and a dozen groups beside them; the rest a fold away. Chosen by us.


@dataclass(frozen=True)
class Row:
    """One group in the table: its figures at the age that is shown."""

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
    """The page. Every choice stands in its address, so that a figure can be found again."""
    question, age = _asked(request.args)
    base = current_base()
    with base.view() as view:
        names = current_names(view)
        protocol = _protocol(base, view)
        whole = as_known(answer(view, replace(question, by=()), protocol))
        parts = as_known(answer(view, question, protocol)) if question.by else whole
        choices = {name: sorted(set(columns(view).labels[name].tolist())) for name in FILTERS}
    groups = [*whole["groups"][:1], *(parts["groups"] if question.by else [])]
    everyone = groups[0] if groups else None
    ages = [figure["age"] for figure in everyone["missing_lost"]["at"]] if everyone else []
    shown = age if age in ages else _headline_age(everyone)
    last = chart.last_age(groups)
    return render_template(
        "survival.html",
        question=question,
        chosen=_chosen(question, names),
        answer=whole,
        fates=[(fate, whole["fates"][fate]) for fate in FATES if whole["fates"].get(fate)],
        planted=sum(whole["fates"].values()),
        everyone=_row(everyone, shown) if everyone else None,
        rows=sorted((_row(group, shown) for group in groups[1:]), key=lambda row: row.rank),
        panels=[panel for group in groups if (panel := chart.panel(group, last, shown or 0))],
        panels_at_once=PANELS_AT_ONCE,
        chart=chart,
        names=names,
        age=shown,
        ages=ages,
        choices=choices,
        estimates=ESTIMATES,
        groupings=GROUPINGS,
    )


@pages.get("/survival.csv")
def csv() -> Response:
    """Every figure of the same question as a table for a spreadsheet or a program: a row for each group, treatment and age."""
    question, _ = _asked(request.args)
    base = current_base()
    with base.view() as view:
        found = answer(view, question, _protocol(base, view))
    return Response(
        survival_csv(found), mimetype="text/csv", headers={"Content-Disposition": 'attachment; filename="survival.csv"'}
    )


def _protocol(base: Base, view: View) -> Protocol | None:
    """The protocol whose rounds are the ages told. None where none is adopted: then they are told at the last age known."""
    with suppress(SayError):
        return monitoring_protocol(base, view)
    return None


def _chosen(question: Question, names: Names) -> str:
    """In words what the figures are of."""
    where = " · ".join(names.label(name, value) for name, value in question.where.items()) or names.grouping("")
    by = names.grouping(",".join(question.by)).lower()
    return f"{where}, {names.reader.text('pages.told_by', by=by)}" if question.by else where


def _headline_age(group: Mapping[str, Any] | None) -> int | None:
    """The largest age at which enough corals were followed for a figure to be told without a mark; else the first there is."""
    figures = group["missing_lost"]["at"] if group else []
    enough = [figure["age"] for figure in figures if figure["at_risk"] >= chart.FEW and figure["survival"] is not None]
    return max(enough, default=figures[0]["age"] if figures else None)


def _row(group: Mapping[str, Any], age: int | None) -> Row:
    lost, open_ = (
        next((figure for figure in group[f"missing_{treatment}"]["at"] if figure["age"] == age), None)
        for treatment in chart.TREATMENTS
    )
    counts = {name: group[name] for name in ("corals", "plots", "deaths", "missing")}
    return Row(group["group"], **counts, lost=lost, open=open_)


def _asked(given: Mapping[str, str]) -> tuple[Question, int | None]:
    """The question that a page's address asks, and the age in days at which figures are wanted.

    Raises:
        RequestError: names every word and value that is not known.
    """
    by = given.get("by", "site")
    estimate = given.get("estimate", "npmle")
    faults = []
    if by not in GROUPINGS and not set(by.split(",")) <= set(LABELS):
        faults.append(Fault("pages.no_grouping", {"value": by[:80], "known": ", ".join(LABELS)}))
    if estimate not in ESTIMATES:
        faults.append(Fault("pages.no_estimate", {"value": estimate[:80], "known": ", ".join(ESTIMATES)}))
    as_of = _day(given.get("as_of", ""), faults)
    age = given.get("age", "")
    if age and not (age.isascii() and age.isdigit() and len(age) < 6):
        faults.append(Fault("pages.no_age", {"value": age[:80]}))
    raise_all(RequestError, faults)
    return Question(
        by=tuple(by.split(",")) if by else (),
        where={name: given[name] for name in FILTERS if given.get(name)},
        as_of=as_of,
        estimate=next(known for known in ESTIMATES if known == estimate),
    ), int(age) if age else None


def _day(given: str, faults: list[Fault]) -> date | None:
    try:
        return date.fromisoformat(given) if given else None
    except ValueError:
        faults.append(Fault("pages.no_day", {"value": given[:80]}))
        return None
