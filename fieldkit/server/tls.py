"""TLS for whatever address a device dials, so that no list of networks must be watched.

Whoever dials an IP address tells no name; but the address dialled is that of our own end of the connection, and the
certificate is made for it when it is first asked for. The handshake runs in a worker's thread, not in the loop that lets
everybody in: there, a single phone that connects and says nothing would stop all others. And it waits nowhere: two dozen of
them would hold all workers.
"""

from __future__ import annotations

import ssl
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from socket import socket
from tempfile import TemporaryDirectory
from typing import Any

from cheroot.makefile import MakeFile
from cheroot.ssl import Adapter
from cryptography.hazmat.primitives.asymmetric import ec

from fieldkit.server.authority import Authority, pem_of
from fieldkit.server.connection import Connection

_FRESH_SECONDS = 24 * 60 * 60  # a certificate is good for weeks; a server that runs for months must make another in time
_MOST_KEPT = 64  # a base has few addresses; names that are not its own are not vouched for
_HANDSHAKE_SECONDS = 15  # some round trips over the worst Wi-Fi; chosen by us


class Vouching:
    """A context for each address that was dialled, with a certificate for it and for the base's names."""

    def __init__(self, authority: Authority, names: Callable[[], Sequence[str]]) -> None:
        """`names`: under which the base is found now, without those of this computer itself."""
        self._authority = authority
        self._names = names
        self._key = ec.generate_private_key(ec.SECP256R1())
        self._kept: OrderedDict[tuple[str, ...], tuple[float, ssl.SSLContext]] = OrderedDict()
        self._lock = threading.Lock()
        self.first = self._made((*names(), "localhost"), "127.0.0.1")
        self.first.sni_callback = self._choose

    def _choose(self, dialling: Any, _name: str | None, _context: ssl.SSLContext) -> None:
        with suppress(OSError):  # gone already, or a full disk; then the first certificate must do, which has the names
            address = dialling.getsockname()[0].partition("%")[0]
            dialling.context = self.context_for(address)

    def context_for(self, address: str) -> ssl.SSLContext:
        names = (*self._names(), "localhost")
        key, now = (address, *names), time.monotonic()
        with self._lock:
            made_at, context = self._kept.pop(key, (now, None))
            if context is None or now - made_at > _FRESH_SECONDS:
                made_at, context = now, self._made(names, address)
            self._kept[key] = made_at, context
            while len(self._kept) > _MOST_KEPT:
                self._kept.popitem(last=False)
            return context

    def _made(self, names: Sequence[str], address: str) -> ssl.SSLContext:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.minimum_version = ssl.TLSVersion.TLSv1_2
        with TemporaryDirectory(prefix="fieldkit-") as folder:  # OpenSSL reads keys from files alone
            both = Path(folder) / "leaf.pem"
            both.touch(mode=0o600)
            both.write_bytes(pem_of(self._key) + self._authority.vouch(self._key.public_key(), names, address))
            context.load_cert_chain(both)
        return context


class LateHandshake(Adapter):
    """Wraps connections without waiting for what the other side says."""

    def __init__(self, context: ssl.SSLContext) -> None:
        self.context = context

    def bind(self, sock: socket) -> socket:
        return sock

    def wrap(self, sock: socket) -> tuple[ssl.SSLSocket, dict[str, str]]:
        try:
            late = self.context.wrap_socket(sock, server_side=True, do_handshake_on_connect=False)
        except OSError as error:
            raise TimeoutError from error  # it is gone already; of all that can be raised, this alone is passed over quietly
        return late, self.get_environ()

    def get_environ(self) -> dict[str, str]:
        return {"wsgi.url_scheme": "https", "HTTPS": "on"}

    def makefile(self, sock: socket, mode: str = "r", bufsize: int = -1) -> Any:
        return MakeFile(sock, mode, bufsize)


class ShakingConnection(Connection):
    """A connection that shakes hands first: as far as what was said allows, and whenever more is said. Who stops in the middle
    of it holds no thread."""

    _has_shaken = False

    def __init__(self, server: Any, sock: socket, makefile: object = None) -> None:
        super().__init__(server, sock, makefile)
        self._until = time.monotonic() + _HANDSHAKE_SECONDS

    def communicate(self) -> bool:
        if self._has_shaken or not isinstance(self.socket, ssl.SSLSocket):
            return super().communicate()
        if time.monotonic() > self._until:
            return False
        try:
            self.socket.settimeout(0)
            self.socket.do_handshake()
            self._has_shaken = True
            self.socket.settimeout(self.server.timeout)
        except ssl.SSLWantReadError:
            pass
        except OSError:  # also what TLS refuses: junk, plain http, a device that does not trust us. Nobody need read of it
            return False
        return True  # back to the loop, which wakes a worker once there is more: browsers open connections in advance
