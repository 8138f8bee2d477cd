"""Serving a base until somebody ends it: its pages to this computer, and to the network at hand whatever may go there."""

from __future__ import annotations

import ipaddress
import signal
import threading
import time
import webbrowser
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from types import FrameType
from typing import Any

from flask import Flask

from fieldkit.access import Access
from fieldkit.base import Base
from fieldkit.server.address_code import TLS_PORT
from fieldkit.server.app import create_app
from fieldkit.server.authority import Authority
from fieldkit.server.current import REACH
from fieldkit.server.errors import ServerError
from fieldkit.server.listening import ROUND_SECONDS, STOP_SECONDS, Application, Listening
from fieldkit.server.pages.survival import make_ready
from fieldkit.server.reach import Reach, Wifi
from fieldkit.server.tended import tended
from fieldkit.server.tls import Vouching
from fieldkit.server.trust import create_trust_app

_GRACE_SECONDS = 0.5  # for what is said when connections are cut; the whole must end within five seconds
# IPv4 alone. Every hot spot and router hands such addresses out, what is announced and the letters that a person types are
# made of them, and a browser cannot be told by which network an address of IPv6 that needs no router (fe80::) is meant. The
# certificates would be good for either.
HERE, EVERYWHERE = "127.0.0.1", "0.0.0.0"


@dataclass(frozen=True)
class Network:
    """What is offered to other devices than this computer."""

    announce: Callable[[Reach], None]
    """Told once they can come."""
    refused: Callable[[ServerError], None]
    """Told why they cannot; this computer is served all the same."""
    port: int = TLS_PORT
    """Where TLS is spoken; 0: on any port that is free. What a browser keeps, it keeps under name *and* port: let it stay."""
    wifi: Wifi | None = None
    hands_in_over_http: bool = False
    """Whether notes may be handed in without TLS."""


def serve(
    base: Base, *, port: int, announce: Callable[[str], None], open_browser: bool, network: Network | None = None
) -> None:
    """Serve a base until the process is told to end (SIGTERM, or Ctrl+C); call it from the main thread.

    Args:
        port: where plain http is spoken, 1 to 65535; 0: on any port that is free. This computer sees the pages there,
            others only how to trust the base.
        announce: told the address of the pages on this computer once it answers there.
        open_browser: show the pages in the browser of this computer.
        network: what others may do; None: nobody but this computer is answered.

    Raises:
        ServerError: another program listens on `port` already, or we may not.
        BaseError: another fieldkit serves this base.
    """
    access = Access(base.folder)
    pages = create_app(base, access)
    with tended(base, settled=lambda: make_ready(pages)), access.held_open(), _told_to_end() as ended:
        at_work: list[Listening] = []
        reach = _to_network(base, pages, port, network, at_work) if network else None
        try:
            plain = _plain(base, pages, port, reach, at_work)
            address = f"http://{HERE}:{plain.port}/"
            announce(address)
            if reach and network:
                reach.plain_port = plain.port
                reach.announcer.start()
                network.announce(reach)
            if open_browser:
                webbrowser.open(address)
            while not ended.wait(ROUND_SECONDS):  # without a limit, Ctrl+C is not heard on Windows
                pass
        finally:
            _stop(at_work, reach)


def _to_network(base: Base, pages: Flask, plain_port: int, network: Network, at_work: list[Listening]) -> Reach | None:
    """Speak TLS to the network. None: that cannot be; why was told."""
    try:
        authority = Authority.of(base.folder, base.programme_name)
        reach = Reach(
            authority,
            base.id,
            port=network.port,
            plain_port=plain_port,
            wifi=network.wifi,
            hands_in_over_http=network.hands_in_over_http,
        )
        vouching = Vouching(authority, lambda: (reach.name,))
        secure = Listening(EVERYWHERE, network.port, pages, vouching)
        _begin(secure, network.port, "reach.cannot_listen")
    except ServerError as error:
        network.refused(error)
        return None
    at_work.append(secure)
    reach.port = secure.port
    pages.extensions[REACH] = reach
    return reach


def _plain(base: Base, pages: Flask, port: int, reach: Reach | None, at_work: list[Listening]) -> Listening:
    """Speak plain http: to this computer as ever, to others (where they may come at all) of nothing but trust."""
    application = by_nearness(pages, create_trust_app(base, pages, reach)) if reach else pages
    plain = Listening(EVERYWHERE if reach else HERE, port, application)
    _begin(plain, port, "pages.cannot_listen")
    at_work.append(plain)
    return plain


def by_nearness(here: Application, elsewhere: Application) -> Application:
    """One application for whoever sits at this computer, another for everybody else."""

    def application(environ: dict[str, Any], start_response: Any) -> Iterable[bytes]:
        is_here = ipaddress.ip_address(environ["REMOTE_ADDR"]).is_loopback
        return (here if is_here else elsewhere)(environ, start_response)

    return application


def _begin(listening: Listening, port: int, key: str) -> None:
    try:
        listening.begin()
    except OSError as error:
        raise ServerError.of(key, port=port, why=error.strerror or str(error)) from error


def _stop(at_work: Sequence[Listening], reach: Reach | None) -> None:
    """End all at once, and wait no longer than a person would."""
    stopping: list[threading.Thread] = [threading.Thread(target=one.stop, daemon=True) for one in at_work]
    for thread in stopping:
        thread.start()
    if reach and reach.announcer.is_alive():
        reach.announcer.stop()
        stopping.append(reach.announcer)
    until = time.monotonic() + STOP_SECONDS + _GRACE_SECONDS
    for thread in stopping:
        thread.join(max(0.0, until - time.monotonic()))


@contextmanager
def _told_to_end() -> Iterator[threading.Event]:
    """Set once the process is told to end; what was done about it before is put back."""
    ended = threading.Event()

    def end(_signal: int, _frame: FrameType | None) -> None:
        ended.set()

    before = {number: signal.signal(number, end) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield ended
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
