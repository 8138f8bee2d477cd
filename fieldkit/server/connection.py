"""A connection whose bytes are read in large pieces, and in C.

The web server below reads through Python's slow reference copy of the buffered streams, 8 KiB at a time; of a photo's piece
that took longer than TLS, the digest and the file together. What is written back is short, and left to it.
"""

from __future__ import annotations

from io import BufferedReader, RawIOBase
from socket import socket
from typing import Any

from cheroot.makefile import StreamWriter
from cheroot.server import HTTPConnection

_BUFFER = 16 * 1024
"""Bytes. No less than a record of TLS holds (RFC 8446, section 5.1): of a record that was read in part nothing shows that the
rest is there, and whoever waits for the socket would wait for ever."""


class Connection(HTTPConnection):
    """A connection as the web server's makers give it, but for how it is read, and that it is a stranger at first."""

    def __init__(self, server: Any, sock: socket, _makefile: object = None) -> None:
        super().__init__(server, sock, _file)

    def communicate(self) -> bool:
        goes_on = bool(super().communicate())  # type: ignore[no-untyped-call]
        self.server.strangers.forget(self.remote_addr, self)
        return goes_on

    def close(self) -> None:
        self.server.strangers.forget(self.remote_addr, self)
        super().close()


class Heard(BufferedReader):
    """What the other side says."""

    def __init__(self, sock: socket) -> None:
        self._source = _Source(sock)
        super().__init__(self._source, _BUFFER)

    def has_data(self) -> bool:
        """Whether more was read than was asked for: the next request, of a device that does not wait for answers."""
        self._source.is_shut = True
        try:
            return bool(self.peek())
        finally:
            self._source.is_shut = False


class _Source(RawIOBase):
    """A socket, to be read from. Closing it is the connection's to do."""

    def __init__(self, sock: socket) -> None:
        self._socket = sock
        self.is_shut = False
        """Nothing more is to be read: what is asked for is what is here."""

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any, /) -> int | None:
        return None if self.is_shut else self._socket.recv_into(buffer)


def _file(sock: socket, mode: str, size: int) -> Any:
    return Heard(sock) if "r" in mode else StreamWriter(sock, mode, size)
