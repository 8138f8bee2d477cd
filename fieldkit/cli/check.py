"""`fieldkit check`: prove the base, and print the figures by which two bases can be compared."""

from __future__ import annotations

import sqlite3
from typing import Any

import click

from fieldkit.base import Base, View, has_wal_reset_race
from fieldkit.cli.command import DONE, WRONG, Command, as_json
from fieldkit.cli.shown import at_work, print_json
from fieldkit.cli.words import LANGUAGE, number, say


@click.command("check", cls=Command, help=say("cli.help_check"))
@click.option("--rebuild", is_flag=True, help=say("cli.help_rebuild"))
@as_json
@click.pass_context
def command(context: click.Context, as_json: bool, rebuild: bool) -> None:
    base = Base(context.obj)
    if rebuild:
        with at_work(say("cli.checking")):
            base.rebuild()
    with at_work(say("cli.checking")):
        faults = [fault.text(LANGUAGE) for fault in base.check()]
    with base.view() as view:
        found = {**_counted(view), "faults": faults}
    if as_json:
        print_json(found)
    else:
        _tell(found)
    context.exit(WRONG if faults else DONE)


def _counted(view: View) -> dict[str, Any]:
    return {
        "entries": view.ledger.counts(),
        "sum": _sum(view),
        "observations": view.fates(),
        "state": view.digest(),
        "sqlite": sqlite3.sqlite_version,
        "wal_reset_race": has_wal_reset_race(sqlite3.sqlite_version_info),
    }


def _sum(view: View) -> str:
    """The digests of all entries, added up: with their number, what two bases compare first."""
    return f"{sum(int(row['digest'], 16) for row in view.rows('SELECT digest FROM ledger')) % 2**256:064x}"


def _tell(found: dict[str, Any]) -> None:
    for title, counts in (("cli.entries", found["entries"]), ("cli.observations", found["observations"])):
        click.echo(say(title, n=sum(counts.values())))
        for name, n in counts.items():
            click.echo(f"  {number(n):>10}  {name}")
    click.echo(say("cli.sum", digest=found["sum"]))
    click.echo(say("cli.state", digest=found["state"]))
    click.echo(say("cli.sqlite_race" if found["wal_reset_race"] else "cli.sqlite", version=found["sqlite"]))
    for line in found["faults"] or [say("cli.nothing_wrong")]:
        click.echo(line)
