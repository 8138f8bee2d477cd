"""A way between a phone and a server that breaks when it is told: after so many bytes, in one direction or the other."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable
from contextlib import suppress

PIECE = 16 * 1024


class Proxy:
    """Forwards a port of this computer. TLS passes through it as it is: all that it knows are bytes."""

    def __init__(self, port: int, *, up: int | None = None, down: int | None = None, then: Callable[[], None] | None = None):
        """Break after `up` bytes towards the server or `down` bytes back, whichever comes first.

        Args:
            then: what happens at that moment; the connections are cut in any case.
        """
        self._to = port
        self._left = {"up": up, "down": down}
        self._then = then
        self._lock = threading.Lock()
        self.is_broken = False
        self._sockets: list[socket.socket] = []
        self._threads: list[threading.Thread] = []
        self._door = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._door.getsockname()[1])
        self._begin(self._accept)

    def close(self) -> None:
        """Cut everything, and wait until no thread is left."""
        self._cut()
        for thread in self._threads:
            thread.join()

    def _begin(self, work: Callable[..., None], *given: object) -> None:
        thread = threading.Thread(target=work, args=given, daemon=True)
        self._threads.append(thread)
        thread.start()

    def _accept(self) -> None:
        while True:
            try:
                phone, _ = self._door.accept()
            except OSError:
                return
            try:
                server = socket.create_connection(("127.0.0.1", self._to), timeout=30)
            except OSError:
                phone.close()
                continue
            with self._lock:
                self._sockets += [phone, server]
            self._begin(self._pump, phone, server, "up")
            self._begin(self._pump, server, phone, "down")

    def _pump(self, source: socket.socket, target: socket.socket, way: str) -> None:
        with suppress(OSError):
            while some := source.recv(PIECE):
                with self._lock:
                    left = self._left[way]
                    if left is not None:
                        some = some[:left]
                        self._left[way] = left - len(some)
                target.sendall(some)
                if left is not None and left <= len(some):
                    self._break()
                    return
        for one in (source, target):
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)

    def _break(self) -> None:
        with self._lock:
            if self.is_broken:
                return
            self.is_broken = True
        if self._then:
            self._then()
        self._cut()

    def _cut(self) -> None:
        with suppress(OSError):
            self._door.shutdown(socket.SHUT_RDWR)  # wakes who waits in accept
        self._door.close()
        with self._lock:
            sockets = list(self._sockets)
        for one in sockets:
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
            one.close()
