"""`fieldkit devices`: the paired devices, what only they still hold, and turning a lost one away."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from pathlib import Path

import click

from fieldkit.access import Access, Device
from fieldkit.base import Base
from fieldkit.cli.command import Command, as_json
from fieldkit.cli.shown import print_json, print_table, table
from fieldkit.cli.words import DASH, say
from fieldkit.register.names import folded

ACTIONS = ("list", "revoke")


@click.command("devices", cls=Command, help=say("cli.help_devices"))
@click.argument("action", type=click.Choice(ACTIONS), default="list", metavar=f"[{'|'.join(ACTIONS)}]")
@click.argument("device", required=False, metavar=f"[{say('cli.metavar_device')}]")
@as_json
@click.pass_obj
def command(folder: Path, action: str, device: str | None, as_json: bool) -> None:
    access = Access(Base(folder).folder)
    found = access.devices.all()
    if action == "revoke":
        revoked = access.devices.revoke(_meant(device, found).id)
        click.echo(say("cli.device_revoked", name=revoked.name))
    elif device is not None:
        raise click.UsageError(say("cli.device_for_nothing", device=device))
    elif as_json:
        print_json([asdict(one) for one in found])
    else:
        _list(found)


def _meant(device: str | None, found: list[Device]) -> Device:
    """The device of that id, or the end of one, or of that name, if there is just one."""
    meant = [one for one in found if device and (one.id.endswith(device) or folded(one.name) == folded(device))]
    if len(meant) == 1:
        return meant[0]
    known = ", ".join(f"{one.name} ({one.id[-4:]})" for one in meant or found) or DASH
    raise click.UsageError(say("cli.which_device", given=device or DASH, known=known))


def _list(found: list[Device]) -> None:
    shown = table("device", "name", "role", "entries", "photos", "heard", "revoked", right=("entries", "photos"))
    for one in found:
        unsent = [DASH if n is None else str(n) for n in (one.unsent_entries, one.unsent_photos)]
        shown.add_row(one.id, one.name, one.role, *unsent, _instant(one.heard_at), _instant(one.revoked_at))
    print_table(shown)


def _instant(ms: int | None) -> str:
    return DASH if ms is None else datetime.fromtimestamp(ms / 1000).astimezone().isoformat(" ", "minutes")[:16]
