"""What is printed, into a narrow terminal, a file or another program; and what stands beside it while one waits."""

from __future__ import annotations

import contextlib
import os
import re
import signal
import struct
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest

from tests.cli.terminal import INSTALLED, installed, typed

if sys.platform != "win32":
    import fcntl
    import termios

unix = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a thing of Unix")
COLOURS = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")


def in_terminal(base: Path, stream: str, *arguments: str) -> str:
    """What a person sees of `stdout` or `stderr` in a terminal of 80 columns."""
    ours, theirs = os.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 80, 0, 0))
    streams = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, stream: theirs}
    variables = {**os.environ, "FIELDKIT_LANG": "en", "TERM": "xterm"}
    with subprocess.Popen([INSTALLED, "--data", base, *arguments], env=variables, **streams):
        os.close(theirs)
        return COLOURS.sub("", _read(ours))


def _read(terminal: int) -> str:
    read = b""
    with contextlib.suppress(OSError):  # how Linux says that the other side has closed
        while piece := os.read(terminal, 65536):
            read += piece
    os.close(terminal)
    return read.decode("utf-8")


@unix
def test_no_line_of_the_matters_is_wider_than_the_terminal(sample: Path) -> None:
    assert max(len(line.rstrip()) for line in in_terminal(sample, "stdout", "matters").splitlines()) <= 80


@unix
def test_both_figures_of_a_group_stand_in_one_line_of_a_narrow_terminal(sample: Path) -> None:
    told = in_terminal(sample, "stdout", "survival", "--by", "site", "--at", "365", "--limits", "none")
    assert re.search(r"^Ray Steps +365 days.* [\d.]+% +[\d.]+%", told, re.MULTILINE)


@unix
def test_a_bar_is_drawn_on_the_error_stream_while_one_waits(sample: Path) -> None:
    assert "Computing" in in_terminal(sample, "stderr", "survival", "--limits", "none")


def test_into_a_file_no_bar_is_drawn(sample: Path) -> None:
    assert installed("survival", "--limits", "none", data=sample).err == ""


def test_into_a_file_each_row_stands_on_one_line(sample: Path) -> None:
    ids = {matter["id"][:12] for matter in typed(sample, "matters", "--json").json}
    lines = [line for line in typed(sample, "matters").lines if line.partition(" ")[0] in ids]
    assert len(lines) == len(ids) and all(line.endswith((".", ").")) for line in lines)


def test_no_line_ends_in_blanks(sample: Path) -> None:
    assert [line for line in typed(sample, "matters").lines if line != line.rstrip()] == []


@unix
def test_a_reader_who_has_seen_enough_ends_the_command_quietly(sample: Path) -> None:
    call = [INSTALLED, "--data", sample, "observations"]
    with subprocess.Popen(call, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as command:
        assert command.stdout and command.stderr
        command.stdout.readline()
        command.stdout.close()
        assert command.stderr.read() == b""


def test_the_base_can_be_named_by_the_environment(reef: Path) -> None:
    assert installed("matters", FIELDKIT_DATA=str(reef)).lines == ["0 matters open."]


@unix
def test_serve_shows_the_pages_until_it_is_told_to_end(reef: Path) -> None:
    call = [INSTALLED, "--data", reef, "serve", "--port", "0"]
    with subprocess.Popen(call, stdout=subprocess.PIPE, text=True, env={**os.environ, "FIELDKIT_LANG": "en"}) as server:
        assert server.stdout
        address = server.stdout.readline().split()[1]
        with urllib.request.urlopen(address) as page:
            assert page.status == 200
        server.send_signal(signal.SIGTERM)
        assert server.wait(20) == 0
