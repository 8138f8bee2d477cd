"""The server, as a process of its own: it answers this computer, and ends whatever hangs on it."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from urllib.request import urlopen

import pytest

from fieldkit.base import Base
from fieldkit.server.listening import QUIET_SECONDS
from tests.support.programme import base_of

ROOT = Path(__file__).parents[2]
SERVING = """
import sys
from pathlib import Path
from fieldkit.base import Base
from fieldkit.server.listening import QUIET_SECONDS
from fieldkit.server import serve
serve(Base(Path(sys.argv[1])), port=int(sys.argv[2]), announce=lambda address: print(address, flush=True), open_browser=False)
"""


@contextmanager
def served(base: Base, port: int = 0) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """A server at work, and its address."""
    call = [sys.executable, "-c", SERVING, str(base.folder), str(port)]
    with subprocess.Popen(call, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as server:
        try:
            assert server.stdout
            yield server, server.stdout.readline().strip()
        finally:
            server.kill()


@pytest.fixture
def base(tmp_path: Path) -> Base:
    return base_of(tmp_path / "base")


def port_of(address: str) -> int:
    return int(address.rstrip("/").rpartition(":")[2])


def test_the_announced_address_answers(base: Base) -> None:
    with served(base) as (_, address), urlopen(address + "days") as answer:
        assert answer.status == 200 and b"Amo Reef Nursery" in answer.read()


def test_it_says_nothing_of_the_machine_or_of_what_serves_it(base: Base) -> None:
    with served(base) as (_, address), urlopen(address + "days") as answer:
        assert answer.headers["Server"] == "fieldkit"


def test_it_listens_on_this_computer_alone(base: Base) -> None:
    with served(base) as (_, address):
        assert address.startswith("http://127.0.0.1:")
        with socket.socket() as other, pytest.raises(OSError):
            other.settimeout(2)
            other.connect(("127.0.0.2", port_of(address)))


@pytest.mark.skipif(os.name == "nt", reason="Windows ends a process without asking it")
@pytest.mark.parametrize("told", [signal.SIGTERM, signal.SIGINT])
def test_it_ends_though_connections_are_open(base: Base, told: signal.Signals) -> None:
    with served(base) as (server, address):
        at = ("127.0.0.1", port_of(address))
        with closing(socket.create_connection(at)) as silent, closing(socket.create_connection(at)) as half:
            half.sendall(b"POST /matters/sign HTTP/1.1\\r\\nHost: localhost\\r\\nContent-Length: 500\\r\\n\\r\\nwho=")
            with urlopen(address + "days"):
                pass
            time.sleep(0.2)  # until a worker waits for the rest of the form
            server.send_signal(told)
            code = server.wait(QUIET_SECONDS / 2)  # who waited for the silent ones would be here after twice that
            assert (code, silent.recv(1)) == (0, b"")


def test_silent_connections_keep_nobody_else_waiting(base: Base) -> None:
    with served(base) as (_, address):
        dialled = ("127.0.0.1", port_of(address))
        silent = [socket.create_connection(dialled, source_address=(f"127.0.1.{i + 1}", 0)) for i in range(30)]
        with urlopen(address + "days", timeout=QUIET_SECONDS / 2):
            pass
        for one in silent:
            one.close()


def test_a_port_that_is_taken_is_told_as_such(base: Base) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with served(base, port) as (server, _):
            told = server.communicate(timeout=10)[1]
        assert re.search(rf"ServerError: Cannot listen on port {port}: [A-Z].+ choose another port", told)


def test_a_form_larger_than_the_server_takes_is_refused(base: Base) -> None:
    with served(base) as (_, address), closing(socket.create_connection(("127.0.0.1", port_of(address)))) as sender:
        host = address.removeprefix("http://").rstrip("/")
        sender.sendall(f"POST /matters/sign HTTP/1.1\r\nHost: {host}\r\nContent-Length: 99999999\r\n\r\n".encode())
        assert sender.recv(12) == b"HTTP/1.1 413"
