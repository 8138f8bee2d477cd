"""A way to a real base on which requests go wrong as they may on a boat: refused for now, too large, the answer lost."""

from __future__ import annotations

import http.client
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import urlsplit

LOST = 0
"""The base has done what was asked, and nobody hears of it."""

Fault = Callable[[str, str, int], int | None]
"""From method, path and length of the body: the status that is answered in the base's stead, `LOST`, or None."""


@contextmanager
def faulty_line(pages: str, fault: Fault) -> Iterator[str]:
    """The address of a base on whose way `fault` may strike. `pages`: the base's own, on this computer."""
    target = urlsplit(pages).netloc

    class Handler(BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def handle_one_request(self) -> None:
            self.raw_requestline = self.rfile.readline(65537)
            if not self.raw_requestline or not self.parse_request():
                self.close_connection = True
                return
            body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
            struck = fault(self.command, self.path.rpartition("/api/v1/")[2], len(body)) if self.command != "OPTIONS" else None
            if struck:
                self._answer(struck, {"Access-Control-Allow-Origin": self.headers.get("Origin", ""), "Retry-After": "1"}, b"")
                return
            connection = http.client.HTTPConnection(target, timeout=20)
            connection.request(self.command, self.path, body, {**self.headers, "Host": target})
            answer = connection.getresponse()
            came = answer.read()
            connection.close()
            if struck is LOST:
                self.close_connection = True
                return
            self._answer(answer.status, dict(answer.getheaders()), came)

        def _answer(self, status: int, headers: dict[str, str], body: bytes) -> None:
            self.send_response_only(status)
            for name, value in headers.items():
                if name.lower() not in ("content-length", "connection", "transfer-encoding"):
                    self.send_header(name, value)
            self.send_header("Access-Control-Expose-Headers", "ETag, Retry-After, Upload-Complete, Upload-Offset")
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        server.daemon_threads = True
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_address[1]}"
        server.shutdown()
