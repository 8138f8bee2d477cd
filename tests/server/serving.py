"""A server process that the network can reach, and a client that trusts its authority alone."""

from __future__ import annotations

import json
import ssl
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from http.client import HTTPSConnection
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
SERVING = """
import json, sys
from pathlib import Path
from fieldkit.base import Base
from fieldkit.server import Network, serve

told = {}

def say(**more):
    told.update(more)
    print(json.dumps(told), flush=True)

options = json.loads(sys.argv[2])
network = Network(
    lambda reach: say(port=reach.port, name=reach.name),
    lambda error: say(refused=str(error)),
    port=options.get("tls_port", 0),
    hands_in_over_http=options.get("http", False),
)
serve(Base(Path(sys.argv[1])), port=0, announce=lambda address: say(address=address), open_browser=False, network=network)
"""


@dataclass(frozen=True)
class Served:
    """A server at work."""

    process: subprocess.Popen[str]
    folder: Path
    address: str
    """Of the pages on this computer."""
    port: int
    name: str

    @property
    def trusting(self) -> ssl.SSLContext:
        return ssl.create_default_context(cafile=self.folder / "authority" / "authority.crt")

    def ask(self, path: str, host: str = "127.0.0.1", *, called: str | None = None, **sent: Any) -> tuple[int, bytes]:
        """One request over TLS; `called`: by which name the certificate must be good, if not by `host`."""
        connection = HTTPSConnection(host, self.port, context=self.trusting, timeout=20)
        if called:
            dial = connection._create_connection  # type: ignore[attr-defined]
            connection._create_connection = lambda _, *more: dial((host, self.port), *more)  # type: ignore[attr-defined]
            connection.host = called
        try:
            connection.request(sent.pop("method", "GET"), path, **sent)
            answer = connection.getresponse()
            return answer.status, answer.read()
        finally:
            connection.close()


@contextmanager
def served(folder: Path, **options: Any) -> Iterator[Served]:
    call = [sys.executable, "-c", SERVING, str(folder), json.dumps(options)]
    with subprocess.Popen(call, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout
            told: dict[str, Any] = {}
            while "port" not in told:
                told = json.loads(process.stdout.readline())
            yield Served(process, folder, told["address"], told["port"], told["name"])
        finally:
            process.kill()
