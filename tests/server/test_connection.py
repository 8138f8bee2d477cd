"""What a device says is read as it was said, however it comes in pieces, over TLS as over plain http."""

from __future__ import annotations

import ssl
from collections.abc import Callable, Iterator
from pathlib import Path
from socket import create_connection, socket

import pytest

from fieldkit.server.authority import Authority
from fieldkit.server.listening import Listening
from fieldkit.server.tls import Vouching

BODY = bytes(range(256)) * 5000  # 1.28 MB: many records of TLS, and no multiple of any buffer
Dial = Callable[[], socket]


def echo(environ: dict, start_response: Callable) -> list[bytes]:  # type: ignore[type-arg]
    """Says back what came, and by which path."""
    body = environ["wsgi.input"].read(int(environ.get("CONTENT_LENGTH") or 0))
    answer = environ["PATH_INFO"].encode() + b" " + body
    start_response("200 OK", [("Content-Length", str(len(answer)))])
    return [answer]


@pytest.fixture(params=["plain", "TLS"])
def dial(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Dial]:
    authority = Authority.of(tmp_path, "Test")
    listening = Listening("127.0.0.1", 0, echo, Vouching(authority, lambda: ()) if request.param == "TLS" else None)
    listening.begin()
    context = ssl.create_default_context(cadata=authority.as_pem.decode("ascii"))

    def dialled() -> socket:
        plain = create_connection(("127.0.0.1", listening.port), timeout=10)
        return context.wrap_socket(plain, server_hostname="localhost") if request.param == "TLS" else plain

    yield dialled
    listening.stop()
    listening.join()


def asking(path: str, body: bytes = b"") -> bytes:
    return b"POST %s HTTP/1.1\r\nHost: localhost\r\nContent-Length: %d\r\n\r\n%s" % (path.encode(), len(body), body)


def answers(dialled: socket, many: int) -> list[bytes]:
    """The bodies of so many answers."""
    found = []
    with dialled.makefile("rb") as said:
        for _ in range(many):
            headers = dict(line.rstrip().lower().split(b": ") for line in iter(said.readline, b"\r\n") if b": " in line)
            found.append(said.read(int(headers[b"content-length"])))
    return found


def test_a_body_of_many_records_comes_whole(dial: Dial) -> None:
    with dial() as dialled:
        dialled.sendall(asking("/a", BODY))
        assert answers(dialled, 1) == [b"/a " + BODY]


@pytest.mark.parametrize("sizes", [(0, 0), (1, 40_000), (16_384 - 80, 16_384), (70_000, 0)])
def test_the_next_request_may_come_before_the_answer_to_the_last(dial: Dial, sizes: tuple[int, int]) -> None:
    """Whatever was read beyond a request is not forgotten, or nobody would look for it: the socket shows nothing any more."""
    with dial() as dialled:
        dialled.sendall(asking("/a", BODY[: sizes[0]]) + asking("/b", BODY[: sizes[1]]) + asking("/c"))
        assert answers(dialled, 3) == [b"/a " + BODY[: sizes[0]], b"/b " + BODY[: sizes[1]], b"/c "]


def test_a_request_may_drip(dial: Dial) -> None:
    with dial() as dialled:
        for byte in asking("/drip", b"slowly"):
            dialled.sendall(bytes([byte]))
        assert answers(dialled, 1) == [b"/drip slowly"]
