"""`fieldkit effort`: how many more corals, in how many plots, must be tagged to tell a difference in survival apart."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from fieldkit.cli import question as asked
from fieldkit.cli.command import Command, as_json
from fieldkit.cli.given import age
from fieldkit.cli.shown import print_table, table
from fieldkit.cli.words import decimal, number, percent, say
from fieldkit.protocol import days_of
from fieldkit.reports.effort import Effort, Need, effort
from fieldkit.reports.question import Question
from fieldkit.reports.tables import effort_csv

YEAR = days_of("P12M")


@click.command("effort", cls=Command, help=say("cli.help_effort"))
@click.option("--difference", type=float, required=True, metavar="0.2", help=say("cli.help_difference"))
@click.option("--at", "at", callback=age, metavar=say("cli.metavar_age"), help=say("cli.help_effort_at"))
@click.option("--power", type=float, default=0.8, metavar="0.8", help=say("cli.help_power"))
@asked.by
@asked.where
@asked.as_of
@asked.level
@asked.as_csv
@as_json
@click.pass_obj
def command(
    folder: Path,
    /,
    difference: float,
    at: int | None,
    power: float,
    by: Sequence[str],
    as_csv: bool,
    as_json: bool,
    **given: Any,
) -> None:
    question = Question(by=tuple(dict.fromkeys(by)), **given)
    found = asked.answered(
        folder,
        question.where,
        lambda view, protocol: effort(
            view, question, age_days=YEAR if at is None else at, difference=difference, power=power, protocol=protocol
        ),
    )
    if asked.printed(found, effort_csv, as_json=as_json, as_csv=as_csv):
        return
    if not found.lost.groups:
        click.echo(say("cli.no_corals"))
        return
    _tell(found)


def _tell(found: Effort) -> None:
    shown = table("group", "has", "worth", "lacks_lost", "lacks_open", right=("worth",))
    for need, open_ in zip(found.lost.groups, found.open.groups, strict=True):
        has = say("cli.counts", n=need.corals, plots=need.plots)
        shown.add_row(asked.called(need.labels), has, number(round(need.worth)), _lacks(need), _lacks(open_))
    print_table(shown)
    high, low = found.lost.compared or (0.0, 0.0)
    told = {"high": percent(high), "low": percent(low), "age": found.age_days, "power": percent(found.power, "0.#")}
    click.echo(say("cli.effort_told", n=found.lost.independent or 0, **told))
    alike = found.lost.correlation
    if alike.icc is None or alike.lower is None or alike.upper is None:
        click.echo(say("cli.effort_no_icc"))
    else:
        limits = f"{decimal(alike.lower)}–{decimal(alike.upper)}"
        click.echo(say("cli.effort_icc", icc=decimal(alike.icc), limits=limits))
    if found.lost.unknown:
        click.echo(say("cli.effort_unknown", n=found.lost.unknown))


def _lacks(need: Need) -> str:
    return say("cli.lacks", n=need.more_corals, plots=need.more_plots) if need.more_corals else say("cli.enough")
