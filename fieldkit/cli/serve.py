"""`fieldkit serve`: the pages on this computer, and what phones need on the network at hand."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from fieldkit.access import CODE_MINUTES, CREW, Access, spelt
from fieldkit.base import Base
from fieldkit.cli.command import Command
from fieldkit.cli.words import LANGUAGE, say
from fieldkit.server import TLS_PORT, Network, Reach, ServerError, Wifi, qr, serve

PORT = 8440


@click.command("serve", cls=Command, help=say("cli.help_serve"))
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=PORT,
    metavar=say("cli.metavar_port"),
    help=say("cli.help_port", port=str(PORT)),
)
@click.option(
    "--tls-port",
    type=click.IntRange(0, 65535),
    default=TLS_PORT,
    metavar=say("cli.metavar_port"),
    help=say("cli.help_tls_port", port=str(TLS_PORT)),
)
@click.option("--only-here", is_flag=True, help=say("cli.help_only_here"))
@click.option("--http", "over_http", is_flag=True, help=say("cli.help_http"))
@click.option("--wifi-name", metavar=say("cli.metavar_name"), help=say("cli.help_wifi_name"))
@click.option("--wifi-password", default="", metavar=say("cli.metavar_text"), help=say("cli.help_wifi_password"))
@click.option("--open", "open_browser", is_flag=True, help=say("cli.help_open"))
@click.pass_obj
def command(
    folder: Path,
    port: int,
    tls_port: int,
    only_here: bool,
    over_http: bool,
    wifi_name: str | None,
    wifi_password: str,
    open_browser: bool,
) -> None:
    def announce(address: str) -> None:
        click.echo(say("cli.serving", address=address))

    wifi = Wifi(wifi_name, wifi_password) if wifi_name else None
    network = Network(
        lambda reach: _tell(reach, Access(folder)), _tell_refused, port=tls_port, wifi=wifi, hands_in_over_http=over_http
    )
    serve(Base(folder), port=port, announce=announce, open_browser=open_browser, network=None if only_here else network)


def _tell(reach: Reach, access: Access) -> None:
    """Where phones find the base, with a code for the first of them where somebody can see it."""
    click.echo(say("cli.phones", address=reach.page()))
    for address in reach.addresses():
        click.echo(say("cli.phones_by_address", address=reach.page(address), code=reach.code_of(address)))
    click.echo(say("cli.phones_first", address=reach.first_page()))
    if reach.hands_in_over_http:
        click.echo(say("cli.phones_http"))
    if not sys.stdout.isatty():
        return
    if reach.wifi:
        _draw(say("cli.scan_wifi", name=reach.wifi.name), reach.wifi.code)
    code = access.devices.invite(CREW)
    _draw(say("cli.scan_first"), reach.first_page(code=code))
    _draw(say("cli.scan_page", code=spelt(code), minutes=CODE_MINUTES), reach.page(code=code))


def _draw(caption: str, text: str) -> None:
    click.echo(f"\n{caption}\n{qr.as_text(text)}")


def _tell_refused(error: ServerError) -> None:
    for line in error.texts(LANGUAGE):
        click.echo(line, err=True)
