"""Serving the pages to this computer alone, until somebody ends it."""

from __future__ import annotations

import signal
import threading
import webbrowser
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType
from typing import Any

from cheroot.server import HTTPConnection
from cheroot.wsgi import Server

from fieldkit.base import Base
from fieldkit.server.app import create_app
from fieldkit.server.errors import ServerError

HOST = "127.0.0.1"
THREADS = 8  # a browser opens six connections to one place
QUIET_SECONDS = 30  # after which a connection that says nothing is closed
STOP_SECONDS = 1  # for requests that are being answered, before their connections are cut
_ROUND_SECONDS = 0.2  # how often the server looks up from waiting; what ends it waits for that
_MOST_HEADER_BYTES = 32 * 1024
_MOST_BODY_BYTES = 1024 * 1024  # a backstop; the application says no much earlier, on a page


def serve(base: Base, *, port: int, announce: Callable[[str], None], open_browser: bool) -> None:
    """Serve a base's pages until the process is told to end (SIGTERM, or Ctrl+C); call it from the main thread.

    Args:
        port: where to listen, 1 to 65535; 0: on any port that is free.
        announce: told the address once it answers there.
        open_browser: show the pages in the browser of this computer.

    Raises:
        ServerError: another program listens there already, or we may not.
    """
    server = _Server(
        (HOST, port),
        create_app(base),
        numthreads=THREADS,
        max=THREADS,
        server_name="fieldkit",
        timeout=QUIET_SECONDS,
        shutdown_timeout=STOP_SECONDS,
    )
    server.max_request_header_size, server.max_request_body_size = _MOST_HEADER_BYTES, _MOST_BODY_BYTES
    server.expiration_interval = _ROUND_SECONDS
    with _told_to_end() as ended:
        serving = _Serving(server)
        serving.start()
        serving.listens.wait()
        if server.refused:
            why = server.refused.strerror or str(server.refused)
            raise ServerError.of("pages.cannot_listen", port=port, why=why) from server.refused
        address = f"http://{HOST}:{server.bind_addr[1]}/"
        announce(address)
        if open_browser:
            webbrowser.open(address)
        while not ended.wait(_ROUND_SECONDS):  # without a limit, Ctrl+C is not heard on Windows
            pass
        stopping = threading.Thread(target=server.stop, daemon=True)
        stopping.start()
        stopping.join(STOP_SECONDS + 1)


class _Server(Server):
    """The server as its makers give it, but for two things."""

    refused: OSError | None = None
    """Why it cannot listen."""

    def bind(self, *socket: Any, **options: Any) -> Any:
        try:
            return super().bind(*socket, **options)
        except OSError as error:
            self.refused = error  # what is raised in its stead tells only in words what went wrong
            raise

    def process_conn(self, conn: HTTPConnection) -> None:
        # A connection that says nothing would hold a thread until it is given up, and browsers open some to have them ready.
        if conn.last_used is None:
            self.put_conn(conn)  # comes back here once there is something to read
        else:
            super().process_conn(conn)


class _Serving(threading.Thread):
    """The server at work. Its threads are daemons, as every thread that a daemon starts: the process ends even where one of
    them is stuck in an answer. What was being written then is written whole or not at all, as after a power cut."""

    def __init__(self, server: _Server) -> None:
        super().__init__(name="fieldkit pages", daemon=True)
        self._server = server
        self.listens = threading.Event()

    def run(self) -> None:
        try:
            self._server.prepare()
        except OSError:
            return  # `refused` says why
        finally:
            self.listens.set()
        self._server.serve()


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
