"""`fieldkit import`: take in a spreadsheet, and account for every row of it."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import click

from fieldkit.base import Base, import_sheet
from fieldkit.cli.command import DONE, WRONG, Command, as_json
from fieldkit.cli.given import FILE
from fieldkit.cli.shown import at_work, print_json
from fieldkit.cli.words import LANGUAGE, say
from fieldkit.register.sheets import Taken


@click.command("import", cls=Command, help=say("cli.help_import"))
@click.argument("file", type=FILE, metavar=say("cli.metavar_file"))
@click.option("--sheet", metavar=say("cli.metavar_name"), help=say("cli.help_sheet"))
@click.option("--mapping", type=FILE, metavar=say("cli.metavar_file"), help=say("cli.help_mapping"))
@click.option("--dry-run", is_flag=True, help=say("cli.help_dry_run"))
@as_json
@click.pass_context
def command(context: click.Context, file: Path, sheet: str | None, mapping: Path | None, dry_run: bool, as_json: bool) -> None:
    base = Base(context.obj)
    with at_work(say("cli.importing", file=file.name)):
        taken = import_sheet(base, file, sheet=sheet, mapping=mapping, today=date.today(), dry_run=dry_run)
    if as_json:
        print_json(_as_json(taken))
    else:
        _tell(taken, dry_run=dry_run)
    context.exit(WRONG if taken.refused else DONE)


def _as_json(taken: Taken) -> dict[str, Any]:
    return {
        "rows_taken": taken.rows_taken,
        "rows_refused": taken.rows_refused,
        "corals": taken.corals,
        "observations": taken.observations,
        "refused": [
            {"sheet": r.sheet, "row": r.row, "column": r.column, "value": r.value, "why": r.fault.text(LANGUAGE)}
            for r in taken.refused
        ],
        "asks": [{"column": a.column, "value": a.value, "rows": a.rows, "ask": a.text(LANGUAGE)} for a in taken.asks],
        "remarks": [{"rows": left.rows, "remark": left.text(LANGUAGE)} for left in taken.left],
    }


def _tell(taken: Taken, *, dry_run: bool) -> None:
    for line in [told.text(LANGUAGE) for one in (taken.refused, taken.asks, taken.left) for told in one]:
        click.echo(line)
    click.echo(say("cli.would_take" if dry_run else "cli.took", n=taken.rows_taken, corals=taken.corals))
    if taken.rows_refused:
        click.echo(say("cli.refused", n=taken.rows_refused))
