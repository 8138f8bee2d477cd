"""What is done for a base while it is served, beside answering: nobody else serves it, the state follows what was handed in,
backups are made of an evening, and what was left half sent is swept.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from fieldkit.backup import Evening
from fieldkit.base import Base
from fieldkit.errors import FieldkitError
from fieldkit.photos import Incoming

_LOOK_EVERY_SECONDS = 1.0  # how long the state lags behind what was handed in, where nobody looks before. Chosen by us.


@contextmanager
def tended(base: Base, *, settled: Callable[[], None]) -> Iterator[None]:
    """Tend a base while the block lasts.

    Args:
        settled: called in a thread of its own once the state is what it should be: at first, and whenever it moved.

    Raises:
        BaseError: another process serves it.
    """
    with base.held_open(), Evening(base), _Following(base, settled):
        Incoming(base.folder / "incoming").sweep()
        for store in (base.photos, base.protocols):
            store.sweep()
        yield


class _Following:
    """Brings the state up to date when something was handed in, so that no page has to wait for it."""

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
        is_new = True
        while not self._ended.wait(_LOOK_EVERY_SECONDS):
            try:
                if not self._base.is_settled():
                    self._base.settle()
                    is_new = True
                elif is_new:  # not between the batches of a hand-in
                    self._settled()
                    is_new = False
            except FieldkitError as error:  # the disk is full, say: whoever looks is told, and the next second tries again
                logging.getLogger(__name__).warning("%s", error)
