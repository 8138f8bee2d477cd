"""What the commands that answer a lead's questions have in common: which corals, how they are told, how it is printed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, TypeVar

import click

from fieldkit.base import Base, View, monitoring_protocol
from fieldkit.cli.given import day, pairs, refuse_unknown
from fieldkit.cli.shown import at_work, print_exactly, print_json
from fieldkit.cli.words import DASH, percent, say, span
from fieldkit.protocol import Protocol
from fieldkit.reports.columns import LABELS, known_labels

T = TypeVar("T")
Asking = Callable[..., Any]

by = click.option(
    "--by", multiple=True, metavar=say("cli.metavar_label"), help=say("cli.help_by_label", known=", ".join(LABELS))
)
where = click.option("--where", multiple=True, callback=pairs, metavar=say("cli.metavar_pair"), help=say("cli.help_where"))
as_of = click.option("--as-of", callback=day, metavar=say("cli.metavar_day"), help=say("cli.help_as_of"))
since = click.option("--from", "since", callback=day, metavar=say("cli.metavar_day"), help=say("cli.help_from"))
level = click.option("--level", type=float, default=0.95, metavar="0.95", help=say("cli.help_level"))
as_csv = click.option("--csv", "as_csv", is_flag=True, help=say("cli.help_csv"))


def answered(folder: Path, where: Mapping[str, str], compute: Callable[[View, Protocol], T]) -> T:
    """The answer of the base in a folder.

    Raises:
        click.UsageError: a name asked for is nowhere; a slip must not look like an empty answer.
    """
    base = Base(folder)
    with base.view() as view, at_work(say("cli.computing")):
        if where:
            refuse_unknown({name: value for name, value in where.items() if name in LABELS}, known_labels(view))
        return compute(view, monitoring_protocol(base, view))


def printed(found: Any, table: Callable[[dict[str, Any]], str], *, as_json: bool, as_csv: bool) -> bool:
    """Print it for a program, if that is asked for; whether it was."""
    if as_csv and as_json:
        raise click.UsageError(say("cli.csv_or_json"))
    if as_json:
        print_json(found.to_json())
    elif as_csv:
        print_exactly(table(found.to_json()))
    return as_json or as_csv


def called(labels: Mapping[str, str]) -> str:
    """What a group is called."""
    return " · ".join(value or say("cli.unknown") for value in labels.values()) or say("cli.all")


def share(value: float | None, lower: float | None, upper: float | None) -> str:
    """A share with its limits, where they are defined."""
    if value is None:
        return DASH
    return percent(value) + ("" if lower is None or upper is None else f" ({span(lower, upper)})")


def tell_left_out(left_out: Mapping[str, int]) -> None:
    """Why corals are in no figure, to how many."""
    for name, n in left_out.items():
        if n:
            click.echo(say(f"cli.left_out_{name}", n=n))
