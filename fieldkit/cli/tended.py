"""`fieldkit tended`: write down that corals were given the hand that they needed, or take that back."""

from __future__ import annotations

import time
from collections.abc import Sequence
from datetime import date
from pathlib import Path

import click

from fieldkit.base import Base
from fieldkit.cli.command import Command
from fieldkit.cli.coral import the_one
from fieldkit.cli.given import day
from fieldkit.cli.words import say
from fieldkit.due import DONE
from fieldkit.due.errors import DueError
from fieldkit.due.tending import Given, taken_back, tended_in, tending
from fieldkit.ledger import new_id

WORDS = (*DONE, "undo")


@click.command("tended", cls=Command, help=say("cli.help_tended"))
@click.argument("hand", type=click.Choice(WORDS), metavar=f"[{'|'.join(WORDS)}]")
@click.argument("corals", nargs=-1, required=True, metavar=say("cli.metavar_corals"))
@click.option("--day", callback=day, metavar="2026-11-10", help=say("cli.help_tended_day"))
@click.option("--new-tag", "tag", default="", metavar=say("cli.metavar_name"), help=say("cli.help_tended_tag"))
@click.option("--by", "recorder", metavar=say("cli.metavar_name"), help=say("cli.help_by"))
@click.pass_obj
def command(folder: Path, hand: str, corals: Sequence[str], day: date | None, tag: str, recorder: str | None) -> None:
    base, today = Base(folder), date.today()
    with base.view() as view:
        if hand == "undo":
            said = taken_back(entry for session in corals for entry, _ in tended_in(view, session))
            if not said:
                raise DueError.of("due.nothing_to_undo", session=", ".join(corals)[:80])
            about: dict[str, str] = {}
        else:
            given = [Given(the_one(view, named).id, hand, tag=tag) for named in dict.fromkeys(corals)]
            once = new_id(time.time_ns() // 1_000_000)
            said, about = tending(view, given, day=day or today, today=today, once=once)
    session = base.say(said, recorder=recorder, about=about)[0].session
    click.echo(say("cli.undone") if hand == "undo" else say("cli.tended", n=len(said), session=session))
