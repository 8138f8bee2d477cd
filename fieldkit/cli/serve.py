"""`fieldkit serve`: the pages, on this computer."""

from __future__ import annotations

from pathlib import Path

import click

from fieldkit.base import Base
from fieldkit.cli.command import Command
from fieldkit.cli.words import say
from fieldkit.server import serve

PORT = 8440


@click.command("serve", cls=Command, help=say("cli.help_serve"))
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=PORT,
    metavar=say("cli.metavar_port"),
    help=say("cli.help_port", port=str(PORT)),
)
@click.option("--open", "open_browser", is_flag=True, help=say("cli.help_open"))
@click.pass_obj
def command(folder: Path, port: int, open_browser: bool) -> None:
    def announce(address: str) -> None:
        click.echo(say("cli.serving", address=address))

    serve(Base(folder), port=port, announce=announce, open_browser=open_browser)
