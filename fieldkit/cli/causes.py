"""`fieldkit causes`: of those outplanted, the share lost to each cause by an age, and the share that lives."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any, get_args

import click

from fieldkit.cli import question as asked
from fieldkit.cli.command import Command, as_json
from fieldkit.cli.given import ages
from fieldkit.cli.shown import print_table, table
from fieldkit.cli.words import DASH, percent, say
from fieldkit.reports.causes import MISSING, NOT_NOTED, Causes, Group, causes
from fieldkit.reports.question import Limits, Question
from fieldkit.reports.tables import causes_csv


@click.command("causes", cls=Command, help=say("cli.help_causes"))
@asked.by
@asked.where
@asked.as_of
@asked.since
@click.option("--dated", type=click.Choice(("round", "found")), default="round", help=say("cli.help_dated"))
@click.option("--at", multiple=True, callback=ages, metavar=say("cli.metavar_age"), help=say("cli.help_at"))
@click.option("--limits", type=click.Choice(get_args(Limits)), default="plots", help=say("cli.help_limits"))
@asked.level
@asked.as_csv
@as_json
@click.pass_obj
def command(
    folder: Path, /, by: Sequence[str], dated: Any, since: date | None, as_csv: bool, as_json: bool, **given: Any
) -> None:
    question = Question(by=tuple(dict.fromkeys(by)), since=since, estimate=dated, **given)
    found = asked.answered(folder, question.where, lambda view, protocol: causes(view, question, protocol))
    if asked.printed(found, causes_csv, as_json=as_json, as_csv=as_csv):
        return
    if not found.groups:
        click.echo(say("cli.no_corals"))
        return
    _tell(found)


def _tell(found: Causes) -> None:
    shown = table("group", "cause", "of_corals", "lost", "open", right=("of_corals",))
    for group in found.groups:
        for i, row in enumerate(_rows(group, found.causes)):
            shown.add_row(asked.called(group.labels) if not i else "", *row)
    print_table(shown)
    click.echo(say("cli.causes_told", age=found.groups[0].lost.at[-1].age))
    click.echo(say(f"cli.estimate_{found.question.estimate}"))
    if found.question.limits != "none":
        click.echo(say(f"cli.limits_{found.question.limits}", level=percent(found.question.level, "0.#")))
    asked.tell_left_out(found.left_out)


def _rows(group: Group, names: Sequence[str]) -> list[tuple[str, str, str, str]]:
    """The causes at the last age that is told, and what lives."""
    lost, open_ = group.lost.at[-1], group.open.at[-1]
    rows = []
    for name in names:
        if group.lost.lost_to.get(name):
            shares = [at.causes.get(name) for at in (lost, open_)]
            told = [asked.share(it.share, it.lower, it.upper) if it else DASH for it in shares]
            rows.append((_cause(name), str(group.lost.lost_to[name]), told[0], told[1]))
    return [*rows, (say("cli.lives"), "", percent(lost.survival), percent(open_.survival))]


def _cause(name: str) -> str:
    return say(f"cli.cause_{name}") if name in (MISSING, NOT_NOTED) else name
