"""`fieldkit observations`: every observation, and what became of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import click

from fieldkit.base import Base
from fieldkit.cli.command import Command, as_json
from fieldkit.cli.given import pairs, refuse_unknown
from fieldkit.cli.shown import print_json, print_table, table, written
from fieldkit.cli.words import say
from fieldkit.reports.observations import observations


@click.command("observations", cls=Command, help=say("cli.help_observations"))
@click.option("--where", multiple=True, callback=pairs, metavar=say("cli.metavar_pair"), help=say("cli.help_chosen"))
@as_json
@click.pass_obj
def command(folder: Path, where: Mapping[str, str], as_json: bool) -> None:
    with Base(folder).view() as view:
        found = observations(view, where)
        if where and not found:
            every = observations(view)
            refuse_unknown(where, {name: {str(row[name] or "") for row in every} for name in where})
    if as_json:
        print_json(found)
    else:
        _tell(found)


def _tell(found: Sequence[Mapping[str, Any]]) -> None:
    shown = table("day", "place", "coral", "recorder", "values", "fate")
    for row in found:
        place = " ".join(filter(None, (row["site"], row["plot"])))
        coral = row["coral"] or row["noted"] or row["values"].get("genotype", "")
        shown.add_row(row["day"], place, coral, row["recorder"], written(row["values"]), row["fate"])
    if found:
        print_table(shown)
    click.echo(say("cli.observations", n=len(found)))
