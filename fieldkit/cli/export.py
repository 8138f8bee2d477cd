"""`fieldkit export`: what the base holds, for other programs."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path

import click

from fieldkit.base import Base
from fieldkit.cli import question
from fieldkit.cli.command import Command
from fieldkit.cli.given import NEW_FILE, refuse_unknown
from fieldkit.cli.shown import at_work
from fieldkit.cli.words import LANGUAGE, say
from fieldkit.durable import whole_file
from fieldkit.exports import FORMS, GRAINS, Scope, export, form_of
from fieldkit.exports.places import Grain
from fieldkit.reports.columns import known_labels


@click.command("export", cls=Command, help=say("cli.help_export"))
@click.argument("form", type=click.Choice(list(FORMS)), metavar=say("cli.metavar_form"))
@click.argument("out", type=NEW_FILE, metavar=say("cli.metavar_file"))
@question.where
@question.as_of
@click.option("--places", type=click.Choice(GRAINS), default=GRAINS[0], help=say("cli.help_export_places"))
@click.option("--people", is_flag=True, help=say("cli.help_export_people"))
@click.option("--table", metavar=say("cli.metavar_name"), help=say("cli.help_export_table"))
@click.pass_obj
def command(
    folder: Path,
    form: str,
    out: Path,
    where: Mapping[str, str],
    as_of: date | None,
    places: Grain,
    people: bool,
    table: str | None,
) -> None:
    form_of(form, table)  # before anything is read
    base = Base(folder)
    scope = Scope(where, as_of, places, people)
    with base.view() as view, at_work(say("cli.exporting")):
        refuse_unknown(where, known_labels(view))
        with whole_file(out, out.with_name(f".{out.name}.part")) as file:
            left_out = export(base, view, file, form, scope, table=table, language=LANGUAGE)
    click.echo(say("cli.exported", file=str(out), form=form))
    for why, n in left_out.items():
        if n:
            click.echo(say(f"cli.export_{why}", n=n))
    click.echo(
        say(f"cli.export_places_{'exact' if places == 'exact' else 'none' if places == 'none' else 'rounded'}", grain=places)
    )
    if not people:
        click.echo(say("cli.export_nobody"))
