"""`fieldkit plan`: the work that fits into a day of so many dives and minutes, and its waypoints. It plans no dives."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from fieldkit.base import Base, View, monitoring_protocol
from fieldkit.cli.command import Command, as_json
from fieldkit.cli.due import days_of, hands_of, label
from fieldkit.cli.given import NEW_FILE, day, named
from fieldkit.cli.shown import print_json, print_table, table
from fieldkit.cli.words import DASH, LANGUAGE, number, say
from fieldkit.due import DayPlan, PlotDue, carried, day_plan, due
from fieldkit.due.plain import plan_as_json
from fieldkit.durable import whole_file
from fieldkit.protocol import Protocol
from fieldkit.server.due_words import CARRIED, DueWords
from fieldkit.server.names import Names
from fieldkit.server.reader import Reader


@click.command("plan", cls=Command, help=say("cli.help_plan"))
@click.option("--dives", type=click.IntRange(1, 100), default=2, metavar="2", help=say("cli.help_plan_dives"))
@click.option("--minutes", type=click.IntRange(1, 1000), default=40, metavar="40", help=say("cli.help_plan_minutes"))
@click.option("--day", callback=day, metavar="2026-11-10", help=say("cli.help_plan_day"))
@click.option("--site", metavar=say("cli.metavar_name"), help=say("cli.help_due_site"))
@click.option("--gpx", type=NEW_FILE, metavar=say("cli.metavar_file"), help=say("cli.help_plan_gpx"))
@as_json
@click.pass_obj
def command(
    folder: Path, dives: int, minutes: int, day: date | None, site: str | None, gpx: Path | None, as_json: bool
) -> None:
    base, on = Base(folder), day or date.today()
    with base.view() as view:
        protocol = monitoring_protocol(base, view)
        found = due(view, protocol, on, site=named(view, "site", [site])[0] if site else None)
        plan = day_plan([job for plot in found.plots if (job := plot.job)], dives=dives, minutes=minutes)
        plots = {plot.id: plot for plot in found.plots}
        if gpx:
            _write(gpx, view, protocol, plan, plots, on)
    if as_json:
        print_json(plan_as_json(plan, plots, on.isoformat()))
        return
    _tell(plan, plots)
    click.echo(say("due.not_dives"))


def _write(file: Path, view: View, protocol: Protocol, plan: DayPlan, plots: dict[str, PlotDue], day: date) -> None:
    words = DueWords(Names(Reader(LANGUAGE), (protocol,)), protocol)
    with whole_file(file, file.with_name(f".{file.name}.part")) as opened:
        opened.write(words.gpx(plan, plots, view.things("site"), day))


def _tell(plan: DayPlan, plots: dict[str, PlotDue]) -> None:
    shown = table("dive", "site", "plot", "minutes", "visit", "days", "hands", "first", right=("dive", "minutes", "days"))
    for place, dive in enumerate(plan.dives, 1):
        for job in dive.jobs:
            plot, visit = plots[job.plot], job.visit
            told = (label(visit.window), days_of(visit)) if visit else (DASH, DASH)
            first = say("due.clean_first") if job.plot in plan.clean_before else ""
            where = (number(place), plot.site_called, plot.called, number(job.minutes))
            shown.add_row(*where, *told, hands_of(plot) or DASH, first)
    if not plan.dives:
        click.echo(say("due.nothing_to_plan"))
        return
    print_table(shown)
    what = carried(plots[job.plot] for job in plan.jobs)
    click.echo(say("due.carry") + ":")
    for name in CARRIED:
        if what.get(name):
            click.echo(f"  {say(f'due.carry_{name}', n=what[name])}")
    if plan.left:
        click.echo(say("due.left", n=len(plan.left)))
