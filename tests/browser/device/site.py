"""The device's modules behind a page that holds nothing else, with the policy that the entry page has."""

from __future__ import annotations

import base64
import hashlib
import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from fieldkit.shipped import STATIC

IMPORTS = {
    "idb": "/vendor/idb/build/index.js",
    "@noble/hashes/sha2.js": "/vendor/@noble/hashes/sha2.js",
}
IMPORT_MAP = json.dumps({"imports": IMPORTS})
HASH = base64.b64encode(hashlib.sha256(IMPORT_MAP.encode()).digest()).decode()
POLICY = "; ".join(
    (
        "default-src 'none'",
        f"script-src 'self' 'sha256-{HASH}'",
        "img-src 'self' blob:",
        "connect-src 'self' https://*:* http://127.0.0.1:*",
        "base-uri 'none'",
        "require-trusted-types-for 'script'",
        "trusted-types 'none'",
    )
)
PAGE = f'<!doctype html><title>device</title><script type="importmap">{IMPORT_MAP}</script>'


class _Handler(SimpleHTTPRequestHandler):
    def __init__(self, *given: Any) -> None:
        super().__init__(*given, directory=str(STATIC))

    def do_GET(self) -> None:
        if self.path != "/":
            return super().do_GET()
        self.send_response(200)
        self.send_header("Content-Type", "text/html; charset=utf-8")
        self.end_headers()
        self.wfile.write(PAGE.encode())
        return None

    def guess_type(self, path: Any) -> str:
        return "text/javascript" if str(path).endswith((".js", ".mjs")) else "application/octet-stream"

    def end_headers(self) -> None:
        self.send_header("Content-Security-Policy", POLICY)
        self.send_header("Cache-Control", "no-store")
        super().end_headers()

    def log_message(self, *_said: Any) -> None:
        pass


@contextmanager
def served() -> Iterator[int]:
    """The port at which the page stands on this computer."""
    with ThreadingHTTPServer(("127.0.0.1", 0), _Handler) as server:
        server.daemon_threads = True
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield server.server_address[1]
        server.shutdown()
