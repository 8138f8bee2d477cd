"""`fieldkit carry`: write what the base holds into one file, to merge elsewhere."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from fieldkit.base import Base
from fieldkit.cli.command import DONE, WRONG, Command
from fieldkit.cli.given import NEW_FILE, day
from fieldkit.cli.shown import at_work
from fieldkit.cli.words import LANGUAGE, say


@click.command("carry", cls=Command, help=say("cli.help_carry"))
@click.argument("out", type=NEW_FILE, metavar=say("cli.metavar_new_file"))
@click.option("--since", callback=day, metavar=say("cli.metavar_day"), help=say("cli.help_since"))
@click.pass_context
def command(context: click.Context, out: Path, since: date | None) -> None:
    base = Base(context.obj)
    with at_work(say("cli.carrying")):
        count = base.carry(out, since=since)
    for fault in count.left_out:
        click.echo(fault.text(LANGUAGE))
    click.echo(say("cli.carried", n=count.entries, file=str(out), content=sum(count.content.values())))
    context.exit(WRONG if count.left_out else DONE)
