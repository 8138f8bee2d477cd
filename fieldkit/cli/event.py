"""`fieldkit event`: write down a storm, heat, a disease, which opens visits of its own; or take it back."""

from __future__ import annotations

import time
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import click

from fieldkit.base import Base
from fieldkit.cli.command import Command
from fieldkit.cli.given import day, named
from fieldkit.cli.words import say
from fieldkit.due.errors import DueError
from fieldkit.due.events import event_statement, event_taken_back
from fieldkit.ledger import new_id
from fieldkit.protocol.protocol import EVENTS

WORDS = (*EVENTS, "undo")


@click.command("event", cls=Command, help=say("cli.help_event"))
@click.argument("what", type=click.Choice(WORDS), metavar=f"[{'|'.join(WORDS)}]")
@click.argument("event", required=False, metavar=f"[{say('cli.metavar_event')}]")
@click.option("--site", "sites", multiple=True, metavar=say("cli.metavar_name"), help=say("cli.help_event_site"))
@click.option("--from", "since", callback=day, metavar="2026-11-10", help=say("cli.help_event_from"))
@click.option("--until", callback=day, metavar="2026-11-12", help=say("cli.help_event_until"))
@click.option("--by", "recorder", metavar=say("cli.metavar_name"), help=say("cli.help_by"))
@click.pass_obj
def command(
    folder: Path,
    what: str,
    event: str | None,
    sites: Sequence[str],
    since: date | None,
    until: date | None,
    recorder: str | None,
) -> None:
    base, id_ = Base(folder), event or new_id(time.time_ns() // 1_000_000)
    with base.view() as view:
        if what == "undo":
            said = event_taken_back(view, id_)
            if not said:
                raise DueError.of("due.no_event_to_undo", event=id_[:40])
        else:
            where = named(view, "site", sites)
            said = [event_statement(view, id_, what=what, since=since, until=until, sites=where, today=date.today())]
    base.say(said, recorder=recorder)
    click.echo(say("cli.undone") if what == "undo" else say("cli.event_written", event=id_))
