"""`fieldkit protocol`: adopt a version, after saying what it changes for old observations."""

from __future__ import annotations

from pathlib import Path

import click

from fieldkit.base import Base
from fieldkit.cli.command import WRONG, Command
from fieldkit.cli.given import FILE
from fieldkit.cli.words import LANGUAGE, say
from fieldkit.protocol import Protocol, changes, read_protocol


@click.command("protocol", cls=Command, help=say("cli.help_protocol"))
@click.argument("file", type=FILE, metavar=say("cli.metavar_file"))
@click.option("--dry-run", is_flag=True, help=say("cli.help_dry_run"))
@click.pass_context
def command(context: click.Context, file: Path, dry_run: bool) -> None:
    base = Base(context.obj)
    new = read_protocol(file.read_bytes(), name=file.name)
    before = _in_use(base, new.name)
    if before == new:
        click.echo(say("cli.adopted_already", name=new.name, version=str(new.version)))
        return
    for told in changes(before, new) if before else ():
        click.echo(told.text(LANGUAGE))
    if before and new.version <= before.version:
        click.echo(say("cli.not_adopted", name=new.name, version=str(new.version)), err=True)
        context.exit(WRONG)
    if dry_run:
        click.echo(say("cli.would_adopt", name=new.name, version=str(new.version)))
    else:
        base.adopt(new)
        click.echo(say("cli.adopted", name=new.name, version=str(new.version)))


def _in_use(base: Base, name: str) -> Protocol | None:
    """The newest version adopted of the protocol of that name."""
    with base.view() as view:
        known = [base.protocol(said.get("digest", "")) for said in view.things("protocol").values()]
    return max((one for one in known if one and one.name == name), key=lambda one: one.version, default=None)
