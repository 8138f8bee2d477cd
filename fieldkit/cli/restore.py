"""`fieldkit restore`: put a backup back into a new folder."""

from __future__ import annotations

from pathlib import Path

import click

from fieldkit.backup import restore
from fieldkit.cli.command import Command
from fieldkit.cli.shown import counted_at_work
from fieldkit.cli.words import say


@click.command("restore", cls=Command, help=say("cli.help_restore"))
@click.argument("backup", type=click.Path(exists=True, file_okay=False, path_type=Path), metavar=say("cli.metavar_backup"))
@click.argument("folder", type=click.Path(path_type=Path), metavar=say("cli.metavar_folder"))
def command(backup: Path, folder: Path) -> None:
    with counted_at_work(say("cli.restoring")) as told:
        base = restore(backup, folder, told=told)
    with base.view() as view:
        entries = sum(view.ledger.counts().values())
    click.echo(say("cli.restored", folder=str(folder), programme=base.programme_name, n=entries))
