"""`fieldkit pair`: a one-time code for a device, and where the device finds the base."""

from __future__ import annotations

from pathlib import Path

import click

from fieldkit.access import CODE_MINUTES, CREW, ROLES, Access, spelt
from fieldkit.base import Base
from fieldkit.cli.command import Command, as_json
from fieldkit.cli.shown import print_json
from fieldkit.cli.words import say
from fieldkit.server import TLS_PORT
from fieldkit.server.address_code import address_code
from fieldkit.server.authority import may_vouch_for
from fieldkit.server.discovery import lasting_name, local_addresses


@click.command("pair", cls=Command, help=say("cli.help_pair"))
@click.option("--role", type=click.Choice(ROLES), default=CREW, help=say("cli.help_pair_role"))
@click.option(
    "--tls-port",
    type=click.IntRange(1, 65535),
    default=TLS_PORT,
    metavar=say("cli.metavar_port"),
    help=say("cli.help_tls_port", port=str(TLS_PORT)),
)
@as_json
@click.pass_obj
def command(folder: Path, role: str, tls_port: int, as_json: bool) -> None:
    base = Base(folder)
    code = Access(folder).devices.invite(role)
    name = f"https://{lasting_name(base.id)}.local:{tls_port}/enter"
    addresses = [address for address in local_addresses() if may_vouch_for(address)]
    if as_json:
        told = [{"address": f"https://{one}:{tls_port}/enter", "short": address_code(one, tls_port)} for one in addresses]
        print_json({"code": code, "role": role, "minutes": CODE_MINUTES, "page": f"{name}#pair/{code}", "addresses": told})
        return
    click.echo(say("cli.pair_code", code=spelt(code), role=say(f"cli.role_{role}"), minutes=CODE_MINUTES))
    click.echo(say("cli.phones", address=name))
    for one in addresses:
        click.echo(say("cli.phones_by_address", address=f"https://{one}:{tls_port}/enter", code=address_code(one, tls_port)))
