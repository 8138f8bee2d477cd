"""`fieldkit import`: take in a spreadsheet, and account for every row of it; or propose how it is to be read."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Any

import click

from fieldkit.base import Base, import_sheets, mapping_of, proposal, saved_mappings
from fieldkit.cli.command import DONE, WRONG, Command, as_json
from fieldkit.cli.given import FILE
from fieldkit.cli.shown import counted_at_work, print_exactly, print_json
from fieldkit.cli.words import LANGUAGE, say
from fieldkit.register.sheets import (
    Mapping,
    Proposal,
    Taken,
    read_file,
    sheets_of,
    written_mapping,
)


@click.command("import", cls=Command, help=say("cli.help_import"))
@click.argument("file", type=FILE, metavar=say("cli.metavar_file"))
@click.option("--sheet", "tabs", multiple=True, metavar=say("cli.metavar_name"), help=say("cli.help_tab"))
@click.option("--propose", is_flag=True, help=say("cli.help_propose"))
@click.option("--mapping", metavar=say("cli.metavar_file"), help=say("cli.help_mapping"))
@click.option("--save", metavar=say("cli.metavar_name"), help=say("cli.help_save_mapping"))
@click.option("--dry-run", is_flag=True, help=say("cli.help_dry_run"))
@as_json
@click.pass_context
def command(
    context: click.Context,
    file: Path,
    tabs: Sequence[str],
    propose: bool,
    mapping: str | None,
    save: str | None,
    dry_run: bool,
    as_json: bool,
) -> None:
    base = Base(context.obj)
    body = read_file(file)
    if propose:
        print_exactly(_proposed(base, body, file.name, tabs))
        return
    text = _mapping_file(base, mapping) if mapping else b""
    chosen = mapping_of(base, text, name=mapping or "") if mapping else Mapping()
    with counted_at_work(say("cli.importing", file=file.name)) as told:
        taken = import_sheets(
            base, body, file=file.name, mapping=chosen, tabs=tabs, today=date.today(), dry_run=dry_run, told=told
        )
    if save and mapping and not dry_run:
        saved_mappings(base).save(save, text.decode("utf-8-sig"))
    if as_json:
        print_json(_as_json(taken))
    else:
        _tell(taken, dry_run=dry_run)
    context.exit(WRONG if any(one.refused for one in taken) else DONE)


def _mapping_file(base: Base, given: str) -> bytes:
    """A file of that name, or the mapping that the base keeps under it."""
    path = Path(given)
    return read_file(path) if path.is_file() else saved_mappings(base).read(given)


def _proposed(base: Base, body: bytes, file: str, tabs: Sequence[str]) -> str:
    """The mapping file proposed for the first tab, with what it leaves open at its head."""
    found: Proposal = proposal(base, sheets_of(body, file=file, tabs=tabs)[0])
    remarks = [say("cli.proposed_mapping", file=file), *(fault.text(LANGUAGE) for fault in found.open)]
    examples = {column.label: " · ".join(column.examples) for column in found.columns}
    return written_mapping(found.mapping, remarks=remarks, examples=examples)


def _as_json(taken: Sequence[Taken]) -> dict[str, Any]:
    return {
        "rows_taken": sum(one.rows_taken for one in taken),
        "rows_refused": sum(one.rows_refused for one in taken),
        "corals": sum(one.corals for one in taken),
        "observations": sum(one.observations for one in taken),
        "refused": [
            {"sheet": r.sheet, "row": r.row, "column": r.column, "value": r.value, "why": r.fault.text(LANGUAGE)}
            for one in taken
            for r in one.refused
        ],
        "asks": [
            {"column": a.column, "value": a.value, "rows": a.rows, "ask": a.text(LANGUAGE)} for one in taken for a in one.asks
        ],
        "remarks": [{"rows": left.rows, "remark": left.text(LANGUAGE)} for one in taken for left in one.left],
    }


def _tell(taken: Sequence[Taken], *, dry_run: bool) -> None:
    for tab in taken:
        for line in [told.text(LANGUAGE) for one in (tab.refused, tab.asks, tab.left) for told in one]:
            click.echo(line)
    rows, corals = sum(one.rows_taken for one in taken), sum(one.corals for one in taken)
    click.echo(say("cli.would_take" if dry_run else "cli.took", n=rows, corals=corals))
    if refused := sum(one.rows_refused for one in taken):
        click.echo(say("cli.refused", n=refused))
