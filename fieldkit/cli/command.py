"""What every command has in common: how it ends, what it says when it cannot go on, and the options that several take.

Exit codes: `DONE`; `WRONG`: something is wrong in what was read, a file or the base; `MISUSED`: the command was used wrongly.
"""

from __future__ import annotations

import errno
from typing import Any

import click

from fieldkit.cli.words import LANGUAGE, say
from fieldkit.errors import FieldkitError
from fieldkit.ledger import CarryError, EntryError, StoreError
from fieldkit.photos import PhotoError
from fieldkit.protocol import ProtocolError
from fieldkit.register.sheets import SheetError

DONE, WRONG, MISUSED = 0, 1, 2

# What is wrong in a file lies in the file; every other error of ours says that the command asked for what cannot be.
_IN_A_FILE = (CarryError, EntryError, PhotoError, ProtocolError, SheetError, StoreError)

as_json = click.option("--json", "as_json", is_flag=True, help=say("cli.help_json"))


class Command(click.Command):
    """A command that says what was refused in the reader's language, and ends with the code for it."""

    def __init__(self, *args: Any, **attributes: Any) -> None:
        super().__init__(*args, **{"options_metavar": say("cli.metavar_options"), **attributes})

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except FieldkitError as error:
            for line in error.texts(LANGUAGE):
                click.echo(line, err=True)
            ctx.exit(WRONG if isinstance(error, _IN_A_FILE) else MISUSED)
        except OSError as error:
            if error.errno == errno.EPIPE:  # whoever read what we print has seen enough; click ends quietly
                raise
            click.echo(say("cli.disk", file=error.filename or "-", why=error.strerror or str(error)), err=True)
        ctx.exit(WRONG)
