"""`fieldkit slates`: slates to print on waterproof paper, for the plots of a site."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path

import click

from fieldkit import messages
from fieldkit.base import Base
from fieldkit.cli.command import Command
from fieldkit.cli.given import NEW_FILE, day, named
from fieldkit.cli.words import LANGUAGE, say
from fieldkit.durable import whole_file
from fieldkit.reports.sheets import boat_days
from fieldkit.server import TLS_PORT
from fieldkit.server.discovery import lasting_name
from fieldkit.server.printing import Wanted, wanted_slates
from fieldkit.slates import PAPERS, as_pdf


@click.command("slates", cls=Command, help=say("cli.help_slates"))
@click.option("--site", required=True, metavar=say("cli.metavar_name"), help=say("cli.help_slates_site"))
@click.option("--plot", "plots", multiple=True, metavar=say("cli.metavar_name"), help=say("cli.help_slates_plot"))
@click.option("--day", callback=day, metavar="2026-11-10", help=say("cli.help_slates_day"))
@click.option("--paper", type=click.Choice(list(PAPERS)), default="a4", help=say("cli.help_slates_paper"))
@click.option("--blind/--seen", default=None, help=say("cli.help_slates_blind"))
@click.option("--lang", "language", type=click.Choice(messages.LANGUAGES), default=LANGUAGE, help=say("cli.help_slates_lang"))
@click.option("--output", type=NEW_FILE, required=True, metavar=say("cli.metavar_file"), help=say("cli.help_slates_output"))
@click.pass_obj
def command(
    folder: Path,
    site: str,
    plots: Sequence[str],
    day: date | None,
    paper: str,
    blind: bool | None,
    language: str,
    output: Path,
) -> None:
    base = Base(folder)
    address = f"https://{lasting_name(base.id)}.local:{TLS_PORT}/enter"
    with base.view() as view:
        (site_id,) = named(view, "site", [site])
        planned = {} if plots or day is None else next(iter(boat_days(view, site_id, day.isoformat())), {})
        chosen = planned.get("plots") or named(view, "plot", plots, site=site_id)
        found = wanted_slates(base, view, Wanted(site_id, tuple(chosen), language, address, day, blind))
    drawn = as_pdf(found, PAPERS[paper], title=f"{base.programme_name}, {site}", numbers=planned.get("sheets", ()))
    with whole_file(output, output.with_name(f".{output.name}.part")) as file:
        file.write(drawn.pdf)
    rows = sum(len(slate.rows) for slate in found)
    click.echo(say("cli.slates_written", file=output.name, n=drawn.sheets, rows=rows, plots=len(found)))
    if drawn.lacking:
        click.echo(say("cli.slates_lacking", signs=" ".join(drawn.lacking)), err=True)
