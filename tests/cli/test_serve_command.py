"""What `fieldkit serve` prints where phones may come, where they may not, and where another program is in the way."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
from contextlib import closing
from pathlib import Path

import pytest

from tests.cli.terminal import INSTALLED

pytestmark = pytest.mark.skipif(os.name == "nt", reason="Windows ends a process without asking it")


def printed(reef: Path, *options: str, last: str) -> tuple[list[str], str, int]:
    """The lines that it prints, up to the one that holds `last`; its error stream; and its exit code when it is told to end."""
    call = [INSTALLED, "--data", reef, "serve", "--port", "0", *options]
    variables = {**os.environ, "FIELDKIT_LANG": "en"}
    with subprocess.Popen(call, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=variables) as process:
        lines: list[str] = []
        assert process.stdout
        while last not in "".join(lines):
            lines.append(process.stdout.readline())
            assert lines[-1], "it ended too soon"
        process.send_signal(signal.SIGTERM)
        out, err = process.communicate(timeout=20)
    return [*lines, *out.splitlines()], err, process.returncode


def test_it_says_where_notes_are_entered_and_where_a_phone_begins(reef: Path) -> None:
    lines, err, code = printed(reef, "--tls-port", "0", "--http", last="without TLS")
    told = "".join(lines)
    assert ("https://fieldkit-" in told, "http://fieldkit-" in told, err, code) == (True, True, "", 0)


def test_with_only_here_it_speaks_of_this_computer_alone(reef: Path) -> None:
    lines, err, code = printed(reef, "--only-here", last="http://127.0.0.1:")
    assert (len(lines), err, code) == (1, "", 0)


def test_it_serves_this_computer_though_phones_cannot_come(reef: Path) -> None:
    with closing(socket.create_server(("0.0.0.0", 0))) as taken:
        port = taken.getsockname()[1]
        lines, err, code = printed(reef, "--tls-port", str(port), last="http://127.0.0.1:")
    assert (len(lines), f"port {port}" in err, "Traceback" in err, code) == (1, True, False, 0)
