"""What is done for a base while it is served, beside answering: nobody else serves it, the state follows what was handed in,
backups are made of an evening, and what was left half sent is swept.
"""

from __future__ import annotations

import logging
import math
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from fieldkit.backup import Evening
from fieldkit.base import Base
from fieldkit.errors import FieldkitError
from fieldkit.photos import Incoming

_LOOK_EVERY_SECONDS = 1.0
_QUIET_SECONDS = 2.0
"""Since the last batch of a hand-in; then the state follows, where nobody looked before. To compute it while phones hand in
makes all of them wait: for the one writer, and for the interpreter. Chosen by us."""
_LOOKING_SECONDS = 0.2  # of each second, where photos came in that nobody looked at: pages come first. Chosen by us
_PATIENCE_SECONDS = 60.0  # after which it follows all the same: a boat's phones may hand in without a pause. Chosen by us
_SWITCH_SECONDS = 0.0005
"""How long a thread that computes keeps the others waiting. Reading and writing over TLS gives the interpreter up and wants it
back some dozens of times a request; with Python's own 5 ms one page that is computed slows every hand-in beside it tenfold."""


@contextmanager
def tended(base: Base, *, settled: Callable[[], None]) -> Iterator[None]:
    """Tend a base while the block lasts.

    Args:
        settled: called in a thread of its own once the state is what it should be: at first, and whenever it moved.

    Raises:
        BaseError: another process serves it.
    """
    with base.held_open(), Evening(base), _Following(base, settled), quick_turns():
        Incoming(base.folder / "incoming").sweep()
        for store in (base.photos, base.protocols):
            store.sweep()
        yield


@contextmanager
def quick_turns() -> Iterator[None]:
    """Let threads that wait for the interpreter have it soon, while the block lasts."""
    before = sys.getswitchinterval()
    sys.setswitchinterval(_SWITCH_SECONDS)
    try:
        yield
    finally:
        sys.setswitchinterval(before)


class _Following:
    """Brings the state up to date once something was handed in, so that no page has to wait for it."""

    def __init__(self, base: Base, settled: Callable[[], None]) -> None:
        self._base = base
        self._settled = settled
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._follow, name="fieldkit state", daemon=True)

    def __enter__(self) -> None:
        self._thread.start()

    def __exit__(self, *_: object) -> None:
        self._ended.set()
        self._thread.join(_LOOK_EVERY_SECONDS)  # who is still making an answer ready is not waited for

    def _follow(self) -> None:
        is_new, behind_since = True, math.inf
        while not self._ended.wait(_LOOK_EVERY_SECONDS):
            try:
                if not self._base.is_settled():
                    now = time.monotonic()
                    behind_since = min(behind_since, now)
                    if may_follow(now, self._base.asked_to_keep_at, behind_since):
                        self._base.settle()
                        is_new = True
                else:
                    behind_since = math.inf
                    if is_new:  # not between the batches of a hand-in
                        self._settled()
                        is_new = False
                        self._base.tidy()
                    if time.monotonic() - self._base.asked_to_keep_at >= _QUIET_SECONDS:
                        self._base.looks.catch_up(_LOOKING_SECONDS)
            except FieldkitError as error:  # the disk is full, say: whoever looks is told, and the next second tries again
                logging.getLogger(__name__).warning("%s", error)


def may_follow(now: float, asked_at: float, behind_since: float) -> bool:
    """Whether the state may follow now: nobody is handing in, or it is behind for too long. All on one clock, in seconds."""
    return now - asked_at >= _QUIET_SECONDS or now - behind_since >= _PATIENCE_SECONDS
