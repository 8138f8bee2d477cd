"""Counting failed tries, so that nobody can go on guessing.

What was counted is forgotten when the server ends: whoever could restart it need not guess.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable

from fieldkit.access.errors import AccessError

WINDOW_SECONDS = 15 * 60
MOST_OF_ADDRESS = 10  # a person with wet hands mistypes twice, not ten times
MOST_IN_TOTAL = 100
# Of 32^8 codes a hundred tries find one of ten that are open with a probability of one in a thousand million. All chosen by us.


class TooManyError(AccessError):
    """Too many tries failed; says for how many seconds no other is heard."""

    @property
    def seconds(self) -> int:
        return int(self.faults[0].data["n"])


class Attempts:
    """The failed tries of the last quarter of an hour, by where they came from."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._failed: deque[tuple[float, str]] = deque()
        self._lock = threading.Lock()

    def may_try(self, address: str) -> None:
        """Let a try pass.

        Raises:
            TooManyError: too many failed, from that address or in total.
        """
        with self._lock:
            self._forget()
            for tries, most in (
                ([at for at, whose in self._failed if whose == address], MOST_OF_ADDRESS),
                ([at for at, _ in self._failed], MOST_IN_TOTAL),
            ):
                if len(tries) >= most:
                    raise TooManyError.of("access.too_many", n=max(1, round(tries[-most] + WINDOW_SECONDS - self._clock())))

    def failed(self, address: str) -> None:
        with self._lock:
            self._failed.append((self._clock(), address))

    def _forget(self) -> None:
        while self._failed and self._failed[0][0] <= self._clock() - WINDOW_SECONDS:
            self._failed.popleft()
