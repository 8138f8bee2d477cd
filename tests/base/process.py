"""Another process, as quick to start as a thread: what must hold between processes can only be tried with some."""

from __future__ import annotations

import os
import signal
import traceback
from collections.abc import Callable
from typing import BinaryIO, NoReturn


class Process:
    """A copy of this one that does some work. What it tells, it tells through a pipe."""

    def __init__(self, work: Callable[[BinaryIO], object]) -> None:
        """`work` gets the pipe's end to write to, without a buffer."""
        told, tell = os.pipe()
        self.id = os.fork()
        if self.id == 0:
            os.close(told)
            _work(work, tell)
        os.close(tell)
        self._told = os.fdopen(told, "rb")

    def kill(self) -> list[bytes]:
        """End it at once, wherever it stands. Returns the lines that it had told."""
        os.kill(self.id, signal.SIGKILL)
        return self.ended()[1]

    def first_line(self) -> bytes:
        """Wait for it to tell something."""
        return self._told.readline()

    def ended(self) -> tuple[int, list[bytes]]:
        """Wait for its end. Returns its exit code, 0 when all went well, and what it told."""
        with self._told:
            lines = self._told.read().splitlines()
        return os.waitstatus_to_exitcode(os.waitpid(self.id, 0)[1]), lines


def _work(work: Callable[[BinaryIO], object], tell: int) -> NoReturn:
    """Do it and be gone: nothing of the tests may run twice."""
    code = 1
    try:
        with os.fdopen(tell, "wb", buffering=0) as pipe:
            work(pipe)
        code = 0
    finally:
        if code:
            traceback.print_exc()
        os._exit(code)
