"""Who opens connections and says nothing keeps nobody out, but for more of its own; over TLS as over plain http."""

from __future__ import annotations

import select
import socket
import ssl
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, suppress
from http.client import HTTPException, HTTPResponse
from pathlib import Path

import pytest

from fieldkit.server.authority import Authority
from fieldkit.server.listening import MOST_STRANGERS, Listening
from fieldkit.server.tls import Vouching


class Door:
    """A port, and whoever knocks there."""

    def __init__(self, listening: Listening, context: ssl.SSLContext | None, knocked: ExitStack) -> None:
        self._listening = listening
        self._context = context
        self._knocked = knocked

    def knock(self, address: str) -> socket.socket:
        """A connection that says nothing."""
        there = ("127.0.0.1", self._listening.port)
        return self._knocked.enter_context(socket.create_connection(there, timeout=10, source_address=(address, 0)))

    def enter(self, address: str) -> socket.socket:
        """A connection that is ready to ask."""
        knocked = self.knock(address)
        if not self._context:
            return knocked
        return self._knocked.enter_context(self._context.wrap_socket(knocked, server_hostname="localhost"))


def ask(spoken: socket.socket) -> bytes:
    spoken.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n")
    with HTTPResponse(spoken) as answer:
        answer.begin()
        return answer.read()


@pytest.fixture(params=["plain", "TLS"])
def door(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Door]:
    authority = Authority.of(tmp_path, "Test")
    listening = Listening("127.0.0.1", 0, welcome, Vouching(authority, lambda: ()) if request.param == "TLS" else None)
    listening.begin()
    context = ssl.create_default_context(cadata=authority.as_pem.decode("ascii"))
    with ExitStack() as knocked:
        yield Door(listening, context if request.param == "TLS" else None, knocked)
    listening.stop()
    listening.join()


def welcome(_environ: object, start_response: Callable) -> list[bytes]:  # type: ignore[type-arg]
    start_response("200 OK", [("Content-Length", "7")])
    return [b"Welcome"]


def test_of_one_address_no_more_strangers_are_let_in_than_a_few_and_everybody_else_is_served(door: Door) -> None:
    silent = [door.knock("127.0.0.9") for _ in range(MOST_STRANGERS + 100)]
    assert ask(door.enter("127.0.0.8")) == b"Welcome"
    closed, _, _ = select.select(silent, (), (), 0)  # all of them were judged before whoever came last was served
    assert len(silent) - len(closed) == MOST_STRANGERS


def test_an_address_whose_silent_connections_are_gone_is_let_in_again(door: Door) -> None:
    for one in [door.knock("127.0.0.9") for _ in range(MOST_STRANGERS + 5)]:
        one.close()
    until = time.monotonic() + 10
    while time.monotonic() < until:
        with suppress(OSError, HTTPException):
            assert ask(door.enter("127.0.0.9")) == b"Welcome"
            return
    pytest.fail("kept out")


def test_whoever_asked_for_something_is_no_stranger_so_many_may_come_from_behind_one_router(door: Door) -> None:
    known = []
    for _ in range(2 * MOST_STRANGERS):
        known.append(door.enter("127.0.0.9"))
        ask(known[-1])
    assert {ask(one) for one in known} == {b"Welcome"}
