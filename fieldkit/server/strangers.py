"""Who may come in before having said anything: of one address so many connections, and no more.

A connection that nobody speaks on costs this server a place among those that it can hold open, and a phone that is broken, or
somebody who means ill, can open hundreds. Whoever asked for something once is no stranger any more. An address is one machine,
or those behind one router: of IPv4, for of IPv6 each machine has as many as it likes.
"""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Hashable


class Strangers:
    """The connections by address that have not asked for anything yet. Threads may share it."""

    def __init__(self, most: int) -> None:
        """`most`: of one address."""
        self._most = most
        self._of: defaultdict[str, set[Hashable]] = defaultdict(set)
        self._lock = threading.Lock()

    def let_in(self, address: str, connection: Hashable) -> bool:
        """Whether there is room for one more of that address; then it counts until `forget`."""
        with self._lock:
            these = self._of[address]
            if len(these) < self._most:
                these.add(connection)
            return connection in these

    def forget(self, address: str, connection: Hashable) -> None:
        """It asked for something, or is gone."""
        with self._lock:
            self._of[address].discard(connection)
            if not self._of[address]:
                del self._of[address]
