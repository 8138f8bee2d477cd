"""`fieldkit sheet`: a programme's own spreadsheet given back, with what was settled."""

from __future__ import annotations

from pathlib import Path

import click

from fieldkit.base import Base, mapping_of, monitoring_protocol, saved_mappings
from fieldkit.cli.command import Command
from fieldkit.cli.given import NEW_FILE
from fieldkit.cli.shown import at_work
from fieldkit.cli.words import say
from fieldkit.register.sheets import read_file
from fieldkit.reports.own_sheet import own_sheet, sheet_body


@click.command("sheet", cls=Command, help=say("cli.help_sheet"))
@click.argument("mapping", metavar=say("cli.metavar_name"))
@click.argument("out", type=NEW_FILE, metavar=say("cli.metavar_file"))
@click.pass_context
def command(context: click.Context, mapping: str, out: Path) -> None:
    base = Base(context.obj)
    path = Path(mapping)
    body = read_file(path) if path.is_file() else saved_mappings(base).read(mapping)
    chosen = mapping_of(base, body, name=mapping)
    with at_work(say("cli.writing_sheet", file=out.name)), base.view() as view:
        headings, rows = own_sheet(view, chosen, monitoring_protocol(base, view))
        out.write_bytes(sheet_body(headings, rows, as_workbook=out.suffix.lower() == ".xlsx"))
    click.echo(say("cli.wrote_sheet", file=str(out), n=len(rows)))
