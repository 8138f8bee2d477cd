"""A real base that speaks TLS, as a process of its own that can be stopped; and a bad line to it."""

from __future__ import annotations

import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from fieldkit.access import Access
from fieldkit.base import Base
from fieldkit.ledger.entry import Entry, read_line
from fieldkit.server.address_code import address_code
from fieldkit.server.authority import CERTIFICATE, Authority

ROOT = Path(__file__).parents[3]
SERVING = """
import sys
from pathlib import Path
from fieldkit.base import Base
from fieldkit.server import Network, serve
def refused(error):
    raise error
def told(what):
    print(what, flush=True)
network = Network(announce=lambda reach: told(reach.port), refused=refused, port=0)
serve(Base(Path(sys.argv[1])), port=0, announce=told, open_browser=False, network=network)
"""


class ServedBase:
    """`port` (of TLS) and `pages` are those of this start; each start has others, as on another day the address is another."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.authority = folder / "authority" / CERTIFICATE
        Authority.of(folder, "Nuvelako Reef Gardeners")
        self._process: subprocess.Popen[str] | None = None

    def start(self) -> None:
        call = [sys.executable, "-c", SERVING, str(self.folder)]
        self._process = subprocess.Popen(call, cwd=ROOT, stdout=subprocess.PIPE, text=True)
        assert self._process.stdout
        self.pages = self._process.stdout.readline().strip()
        self.port = int(self._process.stdout.readline())

    def stop(self) -> None:
        if self._process:
            self._process.kill()
            self._process.communicate()
            self._process = None

    def address(self, host: str = "127.0.0.1") -> str:
        return f"https://{host}:{self.port}"

    def code(self, host: str) -> str:
        return address_code(host, self.port)

    def invite(self, role: str = "crew") -> str:
        return Access(self.folder).devices.invite(role)

    def lose_devices(self) -> None:
        """Turn every device away, as one that was lost."""
        devices = Access(self.folder).devices
        for device in devices.all():
            devices.revoke(device.id)

    def entries(self) -> list[Entry]:
        with Base(self.folder).view() as view:
            return [read_line(line) for _, line in view.ledger.lines_after(0, 100_000)]

    def photos(self) -> dict[str, int]:
        photos = Base(self.folder).photos
        return {digest: photos.path(digest).stat().st_size for digest in photos.digests()}


class BadLine:
    """Passes connections on to a port; cuts each after so many bytes from the phone, while it is told to."""

    def __init__(self, target: int) -> None:
        self.carried = 0  # bytes from the phone
        self.cuts = 0
        self.cut_after: int | None = None
        self._target = target
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.port = self._listening.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    def close(self) -> None:
        self._listening.close()

    def _accept(self) -> None:
        with suppress(OSError):
            while True:
                phone, _ = self._listening.accept()
                threading.Thread(target=self._connect, args=(phone,), daemon=True).start()

    def _connect(self, phone: socket.socket) -> None:
        with phone, socket.create_connection(("127.0.0.1", self._target)) as base:
            back = threading.Thread(target=self._carry, args=(base, phone, False), daemon=True)
            back.start()
            self._carry(phone, base, True)
            back.join()

    def _carry(self, source: socket.socket, sink: socket.socket, is_from_phone: bool) -> None:
        passed = 0
        with suppress(OSError):
            while some := source.recv(65536):
                passed += len(some)
                if is_from_phone and self.cut_after is not None and passed > self.cut_after:
                    self.cuts += 1
                    break
                sink.sendall(some)
                self.carried += len(some) if is_from_phone else 0
        for end in (source, sink):
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)


@contextmanager
def bad_line(target: int) -> Iterator[BadLine]:
    line = BadLine(target)
    yield line
    line.close()
