"""The web server at work: in a thread that a process can leave behind when it ends."""

from __future__ import annotations

import logging
import sys
import threading
from collections.abc import Callable, Iterable
from typing import Any

from cheroot.server import HTTPConnection
from cheroot.wsgi import Server

from fieldkit.server.connection import Connection
from fieldkit.server.strangers import Strangers
from fieldkit.server.tls import LateHandshake, ShakingConnection, Vouching

THREADS = 24  # as many phones as a boat carries may each hold one with a photo that comes slowly
QUIET_SECONDS = 30  # after which a connection that says nothing is closed
STOP_SECONDS = 1  # for requests that are being answered, before their connections are cut
ROUND_SECONDS = 0.2  # how often the server looks up from waiting; what ends it waits for that
MOST_STRANGERS = 16
"""Connections of one address that have not asked for anything yet. A browser opens six at once. Fewer than there are threads,
so that of one address requests that never end leave some to others. Chosen by us."""
_MOST_KEPT = 256
"""Connections that are kept for the next request. Of more, each costs its phone a new handshake; of many more, Windows cannot
wait for all at once (512). Chosen by us."""
_WAITING = 128  # to be let in: a whole boat's phones at once; who finds no room there tries again after a second
_MOST_HEADER_BYTES = 32 * 1024
_MOST_BODY_BYTES = 2 * 1024 * 1024  # a backstop; the application says no earlier, in words

Application = Callable[..., Iterable[bytes]]


class Listening(threading.Thread):
    """One port. Its threads are daemons, as every thread that a daemon starts: the process ends even where one of them is
    stuck in an answer. What was being written then is written whole or not at all, as after a power cut."""

    def __init__(self, host: str, port: int, application: Application, vouching: Vouching | None = None) -> None:
        """`vouching`: given, TLS is spoken."""
        super().__init__(name=f"fieldkit port {port}", daemon=True)
        self._listens = threading.Event()
        self._server = _Server(
            (host, port),
            application,
            numthreads=THREADS,
            max=THREADS,
            server_name="fieldkit",
            request_queue_size=_WAITING,
            timeout=QUIET_SECONDS,
            shutdown_timeout=STOP_SECONDS,
        )
        self._server.max_request_header_size = _MOST_HEADER_BYTES
        self._server.max_request_body_size = _MOST_BODY_BYTES
        self._server.keep_alive_conn_limit = _MOST_KEPT
        self._server.expiration_interval = ROUND_SECONDS
        self._server.ConnectionClass = Connection
        if vouching is not None:
            self._server.ssl_adapter = LateHandshake(vouching.first)
            self._server.ConnectionClass = ShakingConnection

    def begin(self) -> None:
        """Listen, and answer from now on.

        Raises:
            OSError: another program listens there already, or we may not.
        """
        self.start()
        self._listens.wait()
        if self._server.refused:
            raise self._server.refused

    @property
    def port(self) -> int:
        return int(self._server.bind_addr[1])

    def run(self) -> None:
        try:
            self._server.prepare()
        except OSError:
            return  # `refused` says why
        finally:
            self._listens.set()
        self._server.serve()

    def stop(self) -> None:
        """Answer nobody any more. May take a little longer than `STOP_SECONDS`."""
        self._server.stop()


class _Server(Server):
    """The server as its makers give it, but for four things."""

    def __init__(self, *given: Any, **options: Any) -> None:
        super().__init__(*given, **options)
        self.strangers = Strangers(MOST_STRANGERS)

    refused: OSError | None = None
    """Why it cannot listen."""

    def bind(self, *socket: Any, **options: Any) -> Any:
        try:
            return super().bind(*socket, **options)
        except OSError as error:
            self.refused = error  # what is raised in its stead tells only in words what went wrong
            raise

    def error_log(self, msg: str = "", level: int = logging.INFO, traceback: bool = False) -> None:
        # A phone that leaves the Wi-Fi in the middle of a request is told here as a failure of ours, line by line. It is none.
        if not isinstance(sys.exception(), OSError):
            super().error_log(msg, level, traceback)

    def process_conn(self, conn: HTTPConnection) -> None:
        # A connection that says nothing would hold a thread until it is given up, and browsers open some to have them ready.
        if conn.last_used is not None:
            super().process_conn(conn)
        elif self.strangers.let_in(conn.remote_addr, conn):
            self.put_conn(conn)  # comes back here once there is something to read
        else:
            conn.close()
