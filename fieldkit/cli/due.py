"""`fieldkit due`: which plots are due for a visit, and which corals need a hand."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from fieldkit.base import Base, monitoring_protocol
from fieldkit.cli.command import Command, as_json
from fieldkit.cli.given import day, named
from fieldkit.cli.shown import print_json, print_table, table
from fieldkit.cli.words import DASH, LANGUAGE, number, say
from fieldkit.due import Due, PlotDue, Visit, Window, due
from fieldkit.due.plain import as_json as plain
from fieldkit.protocol.protocol import HANDS


@click.command("due", cls=Command, help=say("cli.help_due"))
@click.option("--day", callback=day, metavar="2026-11-10", help=say("cli.help_due_day"))
@click.option("--site", metavar=say("cli.metavar_name"), help=say("cli.help_due_site"))
@as_json
@click.pass_obj
def command(folder: Path, day: date | None, site: str | None, as_json: bool) -> None:
    base = Base(folder)
    with base.view() as view:
        site_id = named(view, "site", [site])[0] if site else None
        found = due(view, monitoring_protocol(base, view), day or date.today(), site=site_id)
    if as_json:
        print_json(plain(found))
        return
    _tell_visits(found)
    _tell_needs(found)
    click.echo(say("due.not_dives"))


def _tell_visits(found: Due) -> None:
    open_, overdue = found.in_state("due"), found.in_state("overdue")
    click.echo(f"{say('due.headline_due', n=len(open_))} {say('due.headline_overdue', n=len(overdue))}")
    columns = ("plot", "site", "visit", "opens", "closes", "days", "corals", "minutes", "hands")
    shown = table(*columns, right=("days", "corals", "minutes"))
    for plot in (*open_, *overdue):
        if plot.visit:
            window = plot.visit.window
            minutes = number(plot.minutes.minutes) if plot.minutes else DASH
            words = (plot.called, plot.site_called, label(window), str(window.opens), str(window.closes), days_of(plot.visit))
            shown.add_row(*words, number(plot.corals), minutes, hands_of(plot) or DASH)
    if open_ or overdue:
        print_table(shown)
    if found.coming:
        opens = str(found.coming[0].visits[0].window.opens)
        click.echo(say("due.coming", n=len(found.coming)) + " " + say("due.next_opens", day=opens))
    if found.others:
        click.echo(say("due.followed", n=found.followed) + " " + say("due.others", n=found.others))
    if found.undated:
        click.echo(say("due.undated", n=found.undated))


def _tell_needs(found: Due) -> None:
    told = [(plot, coral, need) for plot in found.in_need for coral in plot.corals_in_need for need in coral.needs]
    click.echo(say("due.headline_hands", n=sum(len(plot.corals_in_need) for plot in found.in_need)))
    shown = table("coral", "plot", "site", "hand", "noted", "seen_on")
    for plot, coral, need in told:
        noted = " ".join(f"{name}={value}" for name, value in need.noted)
        shown.add_row(coral.called, plot.called, plot.site_called, say(f"due.hand_{need.hand}"), noted, need.day)
    if told:
        print_table(shown)


def label(window: Window) -> str:
    """What a visit is called."""
    return window.label.get(LANGUAGE) or next(iter(window.label.values()), "")


def days_of(visit: Visit) -> str:
    """How many days are left; below 0: how long it is overdue."""
    return f"-{number(-visit.days)}" if visit.days < 0 else number(visit.days)


def hands_of(plot: PlotDue) -> str:
    """How many corals of a plot need each hand."""
    return ", ".join(say(f"due.n_{hand}", n=plot.hands[hand]) for hand in HANDS if plot.hands[hand])
