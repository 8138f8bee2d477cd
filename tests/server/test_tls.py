"""The network's port, as a process: whoever trusts the authority is served at any address, and nobody can stop the rest."""

from __future__ import annotations

import json
import os
import signal
import socket
import ssl
import struct
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from urllib.request import urlopen

import pytest

from fieldkit.server.listening import THREADS
from tests.server.serving import ROOT, SERVING, Served, served
from tests.support.programme import base_of

HELLO = "/api/v1/hello"


@pytest.fixture(scope="module")
def at_work(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with served(base_of(tmp_path_factory.mktemp("tls") / "base").folder) as found:
        yield found


@pytest.mark.parametrize("host", ["127.0.0.1", "127.0.0.2", "127.0.0.3"])
def test_an_address_that_nobody_foresaw_has_a_certificate(at_work: Served, host: str) -> None:
    assert at_work.ask(HELLO, host)[0] == 200


@pytest.mark.parametrize("name", ["its own", "localhost"])
def test_the_bases_names_have_one_too(at_work: Served, name: str) -> None:
    assert at_work.ask(HELLO, called=at_work.name if name == "its own" else name)[0] == 200


def test_whoever_does_not_trust_the_authority_is_told_nothing(at_work: Served) -> None:
    with (
        closing(socket.create_connection(("127.0.0.1", at_work.port))) as dialled,
        pytest.raises(ssl.SSLCertVerificationError),
    ):
        ssl.create_default_context().wrap_socket(dialled, server_hostname="127.0.0.1")


def from_all_over(at_work: Served) -> list[socket.socket]:
    """Connections, twice as many as there are threads, each of another address."""
    dialled = ("127.0.0.1", at_work.port)
    return [socket.create_connection(dialled, source_address=(f"127.0.1.{i + 1}", 0)) for i in range(2 * THREADS)]


def test_silent_connections_keep_nobody_else_waiting(at_work: Served) -> None:
    silent = from_all_over(at_work)
    assert at_work.ask(HELLO)[0] == 200
    for one in silent:
        one.close()


def test_connections_that_stop_in_the_middle_of_a_handshake_hold_no_thread(at_work: Served) -> None:
    half = from_all_over(at_work)
    for one in half:
        one.sendall(b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03")  # a ClientHello's first bytes (RFC 8446)
    assert at_work.ask(HELLO)[0] == 200
    for one in half:  # none was given up for it
        one.setblocking(False)
        with one, pytest.raises(BlockingIOError):
            one.recv(1)


def test_connections_kept_in_advance_hold_no_thread(at_work: Served) -> None:
    kept = [at_work.trusting.wrap_socket(one, server_hostname="127.0.0.1") for one in from_all_over(at_work)]
    assert at_work.ask(HELLO)[0] == 200
    kept[0].sendall(b"GET /api/v1/hello HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
    assert kept[0].recv(12) == b"HTTP/1.1 200"
    for one in kept:
        one.close()


@pytest.mark.parametrize("said", [b"GET / HTTP/1.1\r\nHost: x\r\n\r\n", b"\x00" * 40, b""])
def test_what_is_no_tls_is_dropped_without_a_word(tmp_path: Path, said: bytes) -> None:
    with served(base_of(tmp_path / "base").folder) as found:
        for _ in range(5):
            with closing(socket.create_connection(("127.0.0.1", found.port))) as dialled:
                dialled.sendall(said)
        assert found.ask(HELLO)[0] == 200
        found.process.terminate()
        assert found.process.communicate(timeout=20)[1] == ""


@pytest.mark.parametrize(
    "said", [b"", b"GET /api/v1/hello HT", b"POST /api/v1/pair HTTP/1.1\r\nHost: a\r\nContent-Length: 50\r\n\r\n{"]
)
@pytest.mark.parametrize("end", ["junk", "cut", "reset"])
def test_a_connection_that_breaks_is_given_up_without_a_word(tmp_path: Path, said: bytes, end: str) -> None:
    with served(base_of(tmp_path / "base").folder) as found:
        dialled = socket.create_connection(("127.0.0.1", found.port))
        shaken = found.trusting.wrap_socket(dialled, server_hostname="127.0.0.1")
        shaken.sendall(said)
        if end == "junk":
            os.write(shaken.fileno(), b"no TLS at all")
        if end == "reset":
            shaken.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        shaken.close()
        assert found.ask(HELLO)[0] == 200
        found.process.terminate()
        assert found.process.communicate(timeout=20)[1] == ""


@pytest.mark.skipif(os.name == "nt", reason="Windows ends a process without asking it")
def test_it_ends_in_good_order_though_connections_are_open(tmp_path: Path) -> None:
    with served(base_of(tmp_path / "base").folder) as found:
        at = ("127.0.0.1", found.port)
        with closing(socket.create_connection(at)) as silent, closing(socket.create_connection(at)) as dialled:
            shaken = found.trusting.wrap_socket(dialled, server_hostname="127.0.0.1")
            shaken.sendall(b"POST /api/v1/pair HTTP/1.1\r\nHost: localhost\r\nContent-Length: 500\r\n\r\n{")
            found.process.send_signal(signal.SIGTERM)
            assert (found.process.wait(20), silent.recv(1)) == (0, b"")
            shaken.close()
            assert found.process.stderr and found.process.stderr.read() == ""


def test_a_port_that_is_taken_is_told_and_this_computer_is_served_all_the_same(tmp_path: Path) -> None:
    folder = base_of(tmp_path / "base").folder
    with closing(socket.create_server(("0.0.0.0", 0))) as taken:
        port = taken.getsockname()[1]
        call = [sys.executable, "-c", SERVING, str(folder), json.dumps({"tls_port": port})]
        with subprocess.Popen(call, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
            assert process.stdout
            told = [json.loads(process.stdout.readline()) for _ in range(2)][-1]
            with urlopen(told["address"] + "days") as answer:
                status = answer.status
            process.kill()
    assert f"port {port}" in told["refused"] and status == 200


def test_over_plain_http_this_computer_sees_the_pages(at_work: Served) -> None:
    with urlopen(at_work.address + "days") as answer:
        assert answer.status == 200


def test_a_page_asked_for_under_a_strangers_name_is_turned_away_over_tls_too(at_work: Served) -> None:
    assert at_work.ask("/sign-in", headers={"Host": "rebound.example"})[0] == 403
    assert at_work.ask("/sign-in", headers={"Host": f"{at_work.name}:{at_work.port}"})[0] == 200


def test_more_than_a_route_takes_is_refused_with_a_problem(at_work: Served) -> None:
    # Announced alone: the line is closed on whoever goes on sending what is refused, and the answer may be lost with it.
    announced = {"Content-Type": "application/json", "Content-Length": "100000"}
    status, body = at_work.ask("/api/v1/pair", method="POST", headers=announced)
    assert status == 413 and b"api.too_large" in body
