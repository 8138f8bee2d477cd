"""What the commands print: JSON and CSV for programs, tables for people, and a bar while they wait."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any, TypeVar

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table

from fieldkit.cli.words import say

_UNBOUNDED = 100_000  # columns of a line that no terminal wraps
_PLACE = frozenset({"row", "plot", "coral", "tag", "position", "genotype", "line"})  # told in columns of their own

Item = TypeVar("Item")


def print_json(found: Any) -> None:
    print_exactly(json.dumps(found, ensure_ascii=False, indent=1) + "\n")


def print_exactly(text: str) -> None:
    """For programs: UTF-8 whatever the terminal's encoding, and line ends as they are."""
    click.echo(text.encode("utf-8"), nl=False)


def table(*columns: str, right: Collection[str] = ()) -> Table:
    """A table with these headings; figures stand to the right."""
    made = Table(box=None, pad_edge=False, header_style="bold")
    for name in columns:
        made.add_column(say(f"cli.column_{name}"), overflow="fold", justify="right" if name in right else "left")
    return made


def written(values: Mapping[str, Any]) -> str:
    """What was observed, as it is typed: status=alive disease=none size_cm=12.5; several values with semicolons between."""
    return " ".join(f"{name}={_value(value)}" for name, value in values.items() if name not in _PLACE)


def _value(value: Any) -> str:
    if isinstance(value, Mapping):
        return ";".join(f"{name}:{count}" for name, count in value.items())
    return ";".join(map(str, value)) if isinstance(value, Sequence) and not isinstance(value, str) else str(value)


def print_table(made: Table) -> None:
    """As wide as the terminal; into a file or another program each row on a line of its own, however long."""
    is_terminal = sys.stdout.isatty()
    console = Console(highlight=False, markup=False, width=None if is_terminal else _UNBOUNDED, force_terminal=is_terminal)
    with console.capture() as printed:
        console.print(made)
    for line in printed.get().splitlines():
        click.echo(line.rstrip())


@contextmanager
def at_work(text: str) -> Iterator[None]:
    """A bar on the terminal's error stream while something takes its time that cannot be said beforehand."""
    with _progress() as progress:
        progress.add_task(text, total=None)
        yield


@contextmanager
def counted_at_work(text: str) -> Iterator[Callable[[int, int], None]]:
    """A bar that moves as it is told how much of how much is done."""
    with _progress() as progress:
        task = progress.add_task(text, total=None)
        yield lambda done, of: progress.update(task, completed=done, total=of)


def each_at_work(items: Sequence[Item], text: str) -> Iterable[Item]:
    """A bar that moves with each item that is done."""
    with _progress() as progress:
        yield from progress.track(items, description=text)


def _progress() -> Progress:
    console = Console(stderr=True)
    bars = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    return Progress(*bars, console=console, transient=True, disable=not console.is_terminal)
