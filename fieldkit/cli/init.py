"""`fieldkit init`: a new base, of a new programme or of one that has bases already."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from fieldkit.base import Base, Merged
from fieldkit.cli.command import DONE, WRONG, Command
from fieldkit.cli.given import FILE
from fieldkit.cli.merge import tell_merged
from fieldkit.cli.shown import at_work
from fieldkit.cli.words import say
from fieldkit.protocol import Protocol, read_protocol
from fieldkit.shipped import SAMPLE_SURVEYS

SHIPPED = SAMPLE_SURVEYS / "protocols"


@click.command("init", cls=Command, help=say("cli.help_init"))
@click.option("--programme", metavar=say("cli.metavar_name"), help=say("cli.help_programme"))
@click.option("--protocol", "protocols", multiple=True, metavar=say("cli.metavar_protocol"), help=say("cli.help_init_protocol"))
@click.option("--from", "carry", type=FILE, metavar=say("cli.metavar_file"), help=say("cli.help_init_from"))
@click.pass_context
def command(context: click.Context, programme: str | None, protocols: Sequence[str], carry: Path | None) -> None:
    programme = (programme or "").strip()
    if bool(programme) == bool(carry):
        raise click.UsageError(say("cli.programme_or_from"), context)
    adopted = _protocols(protocols, all_shipped=carry is None)
    base, merged = _made(context.obj, programme, carry)
    for protocol in adopted:
        base.adopt(protocol)
    click.echo(say("cli.made", folder=str(base.folder), programme=base.programme_name))
    if merged is not None:
        tell_merged(base, merged, by_session=False)
    context.exit(WRONG if merged and merged.faults else DONE)


def _made(folder: Path, programme: str, carry: Path | None) -> tuple[Base, Merged | None]:
    if carry is None:
        return Base.create(folder, programme), None
    with at_work(say("cli.merging")):
        return Base.join(folder, carry)


def _protocols(named: Sequence[str], *, all_shipped: bool) -> list[Protocol]:
    """Read before anything is made, so that a faulty one leaves no base behind."""
    paths = [_protocol_file(name) for name in named]
    if not paths and all_shipped:
        paths = sorted(SHIPPED.glob("*.toml"))
    return [read_protocol(path.read_bytes(), name=path.name) for path in paths]


def _protocol_file(named: str) -> Path:
    """A protocol by the name of a shipped one, or by its path."""
    shipped = {path.stem.replace("_", "-"): path for path in sorted(SHIPPED.glob("*.toml"))}
    path = shipped.get(named.replace("_", "-"), Path(named))
    if not path.is_file():
        raise click.UsageError(say("cli.no_protocol_file", given=named, known=", ".join(shipped)))
    return path
