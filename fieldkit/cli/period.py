"""`fieldkit period`: of the corals alive on one day, what had become of them by another. Plain counts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path

import click

from fieldkit.cli import question as asked
from fieldkit.cli.command import Command, as_json
from fieldkit.cli.given import day
from fieldkit.cli.shown import print_table, table
from fieldkit.cli.words import number, percent, say
from fieldkit.reports.period import Counts, period
from fieldkit.reports.tables import period_csv

COUNTED = ("at_start", "alive", "dead", "missing", "withdrawn", "not_seen", "joined")


@click.command("period", cls=Command, help=say("cli.help_period"))
@click.option("--from", "start", required=True, callback=day, metavar=say("cli.metavar_day"), help=say("cli.help_period_from"))
@click.option("--until", "end", required=True, callback=day, metavar=say("cli.metavar_day"), help=say("cli.help_period_until"))
@asked.by
@asked.where
@asked.as_csv
@as_json
@click.pass_obj
def command(
    folder: Path,
    /,
    start: date,
    end: date,
    by: Sequence[str],
    where: Mapping[str, str],
    as_csv: bool,
    as_json: bool,
) -> None:
    labels = tuple(dict.fromkeys(by))
    found = asked.answered(folder, where, lambda view, _: period(view, start, end, labels, where))
    if asked.printed(found, period_csv, as_json=as_json, as_csv=as_csv):
        return
    shown = table("group", *COUNTED, right=COUNTED)
    for counts in (*found.groups, *([found.total] if len(found.groups) != 1 else [])):
        shown.add_row(asked.called(counts.labels), *_row(counts))
    print_table(shown)
    click.echo(say("cli.period_told", start=str(start), end=str(end)))
    asked.tell_left_out(found.left_out)


def _row(counts: Counts) -> list[str]:
    told = [number(getattr(counts, name)) for name in COUNTED]
    if counts.at_start:
        told[1] += f" ({percent(counts.alive / counts.at_start)})"
    return told
