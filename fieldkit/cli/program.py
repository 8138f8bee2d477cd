"""The program: its commands by name, loaded when they are run, and what holds for all of them."""

from __future__ import annotations

import gettext
import os
from collections.abc import Sequence
from importlib import import_module
from importlib.resources import files
from pathlib import Path
from typing import Any

import click

from fieldkit import __version__
from fieldkit.cli.encoding import write_in_any_encoding
from fieldkit.cli.words import LANGUAGE, say

# In the order in which a programme comes to need them.
MODULES = {
    "init": "init",
    "protocol": "protocol",
    "import": "spreadsheet",
    "sheet": "sheet",
    "merge": "merge",
    "carry": "carry",
    "matters": "matters",
    "rule": "rule",
    "observations": "observations",
    "coral": "coral",
    "survival": "survival",
    "ranking": "ranking",
    "causes": "causes",
    "period": "period",
    "effort": "effort",
    "agreement": "agreement",
    "due": "due",
    "plan": "plan",
    "tended": "tended",
    "draw": "draw",
    "event": "event",
    "slates": "slates",
    "export": "export",
    "check": "check",
    "backup": "backup",
    "restore": "restore",
    "serve": "serve",
    "pair": "pair",
    "devices": "devices",
    "people": "people",
}


class Later(click.Command):
    """A command known by name and help alone, which becomes itself when it is run.

    Half of the time that a command takes to start goes into loading what it computes with; a list of commands needs none of it.
    """

    def make_context(self, info_name: str | None, args: list[str], parent: click.Context | None = None, **extra: Any) -> Any:
        command: click.Command = import_module(f"fieldkit.cli.{MODULES[str(self.name)]}").command
        return command.make_context(info_name, args, parent, **extra)


class Commands(click.Group):
    """The commands, listed in the order in which they were given."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - the form that click asks for
        return list(self.commands)


@click.group(
    name="fieldkit",
    cls=Commands,
    commands={name: Later(name, short_help=say(f"cli.help_{name}").partition("\n")[0]) for name in MODULES},
    help=say("cli.help"),
    options_metavar=say("cli.metavar_options"),
    subcommand_metavar=say("cli.metavar_command"),
    context_settings={"help_option_names": ["-h", "--help"]},
)
@click.option(
    "--data",
    type=click.Path(path_type=Path),
    envvar="FIELDKIT_DATA",
    default=Path("fieldkit-data"),
    metavar=say("cli.metavar_folder"),
    help=say("cli.help_data"),
)
@click.version_option(__version__, prog_name="fieldkit", message="%(prog)s %(version)s", help=say("cli.help_version"))
@click.pass_context
def fieldkit(context: click.Context, data: Path) -> None:
    context.obj = data


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command that was typed, and end the process with its exit code."""
    write_in_any_encoding()
    # click looks its own sentences up by gettext, in the catalogue of the program and the language of the environment.
    gettext.bindtextdomain(gettext.textdomain(), str(files(__package__).joinpath("locale")))
    os.environ["LANGUAGE"] = LANGUAGE
    fieldkit.main(arguments, prog_name="fieldkit")
