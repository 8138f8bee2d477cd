"""`fieldkit draw`: which plots a small crew follows, by lot; shown first, and written down where that is asked for."""

from __future__ import annotations

import time
from datetime import date
from pathlib import Path

import click

from fieldkit.base import Base, monitoring_protocol
from fieldkit.cli.command import Command
from fieldkit.cli.given import named
from fieldkit.cli.shown import print_table, table
from fieldkit.cli.words import number, say
from fieldkit.due import due
from fieldkit.due.drawing import draws, statements, undone
from fieldkit.due.errors import DueError
from fieldkit.ledger import new_id
from fieldkit.reports.programme.things import names_of


@click.command("draw", cls=Command, help=say("cli.help_draw"))
@click.option("--each", type=click.IntRange(1, 1000), default=2, metavar="2", help=say("cli.help_draw_each"))
@click.option("--seed", metavar=say("cli.metavar_text"), help=say("cli.help_draw_seed"))
@click.option("--site", metavar=say("cli.metavar_name"), help=say("cli.help_due_site"))
@click.option("--write", is_flag=True, help=say("cli.help_draw_write"))
@click.option("--undo", metavar=say("cli.metavar_session"), help=say("cli.help_draw_undo"))
@click.option("--by", "recorder", metavar=say("cli.metavar_name"), help=say("cli.help_by"))
@click.pass_obj
def command(
    folder: Path, each: int, seed: str | None, site: str | None, write: bool, undo: str | None, recorder: str | None
) -> None:
    base = Base(folder)
    if undo:
        _undo(base, undo, recorder)
        return
    if not seed:
        raise click.UsageError(say("cli.draw_needs_seed"))
    today = date.today()
    with base.view() as view:
        site_id = named(view, "site", [site])[0] if site else None
        found = draws(due(view, monitoring_protocol(base, view), today, site=site_id).plots, seed=seed, each=each)
        said = statements(view, found, day=today.isoformat(), id_of=lambda _: new_id(time.time_ns() // 1_000_000))
        plots, sites = names_of(view, "plot"), names_of(view, "site")
    shown = table("site", "drawn", "among", "plots", right=("drawn", "among"))
    for one in found:
        drawn, among = number(len(one.plots)), number(len(one.plots) + len(one.others))
        shown.add_row(sites.get(one.site, ""), drawn, among, ", ".join(plots[plot] for plot in one.plots))
    print_table(shown)
    if write:
        session = base.say(said, recorder=recorder)[0].session
        click.echo(say("cli.draw_written", session=session))
    else:
        click.echo(say("cli.draw_not_written"))


def _undo(base: Base, session: str, recorder: str | None) -> None:
    with base.view() as view:
        said = undone(view, session)
    if not said:
        raise DueError.of("due.nothing_to_undo", session=session[:80])
    base.say(said, recorder=recorder)
    click.echo(say("cli.undone"))
