"""Serving the pages to this computer alone, until somebody ends it."""

from __future__ import annotations

import signal
import threading
import webbrowser
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

from cheroot.wsgi import Server

from fieldkit.base import Base
from fieldkit.server.app import create_app
from fieldkit.server.errors import ServerError
from fieldkit.server.safety import MOST_BYTES

HOST = "127.0.0.1"
THREADS = 8  # a browser opens six connections to one place
QUIET_SECONDS = 30  # after which a connection that says nothing is closed
STOP_SECONDS = 3  # for requests that are being answered, before their connections are cut
_MOST_HEADER_BYTES = 32 * 1024


def serve(base: Base, *, port: int, announce: Callable[[str], None], open_browser: bool) -> None:
    """Serve a base's pages until the process is told to end (SIGTERM, or Ctrl+C); call it from the main thread.

    Args:
        port: where to listen, 1 to 65535; 0: on any port that is free.
        announce: told the address once it answers there.
        open_browser: show the pages in the browser of this computer.

    Raises:
        ServerError: another program listens there already, or we may not.
    """
    server = Server(
        (HOST, port), create_app(base), numthreads=THREADS, max=THREADS, timeout=QUIET_SECONDS, shutdown_timeout=STOP_SECONDS
    )
    server.max_request_header_size, server.max_request_body_size = _MOST_HEADER_BYTES, MOST_BYTES
    with _told_to_end() as ended:
        try:
            server.prepare()
        except OSError as error:
            raise ServerError.of("pages.cannot_listen", port=port, why=error.strerror or str(error)) from error
        threading.Thread(target=server.serve, name="fieldkit pages").start()
        try:
            address = f"http://{HOST}:{server.bind_addr[1]}/"
            announce(address)
            if open_browser:
                webbrowser.open(address)
            while not ended.wait(0.2):  # without a limit, Ctrl+C is not heard on Windows
                pass
        finally:
            server.stop()


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
