"""`fieldkit backup`: a second copy of the base on another disk, proved by opening it."""

from __future__ import annotations

from pathlib import Path

import click

from fieldkit.backup import back_up, kept
from fieldkit.base import Base
from fieldkit.cli.command import DONE, WRONG, Command
from fieldkit.cli.shown import counted_at_work
from fieldkit.cli.words import LANGUAGE, say


@click.command("backup", cls=Command, help=say("cli.help_backup"))
@click.argument("place", required=False, type=click.Path(path_type=Path), metavar=say("cli.metavar_place"))
@click.pass_context
def command(context: click.Context, place: Path | None) -> None:
    base = Base(context.obj)
    chosen = kept(base.folder)
    if place is None and chosen is None:
        raise click.UsageError(say("cli.no_backup_place"), context)
    with counted_at_work(say("cli.backing_up")) as told:
        made = back_up(base, place or Path(chosen.place if chosen else ""), told=told)
    click.echo(say("cli.backed_up", folder=str(made.folder), n=made.entries, content=made.new_content))
    if made.same_disk:
        click.echo(say("cli.same_disk"))
    for fault in made.faults:
        click.echo(fault.text(LANGUAGE))
    context.exit(WRONG if made.faults else DONE)
