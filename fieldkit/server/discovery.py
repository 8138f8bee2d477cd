"""Being found by name on the network at hand, though its addresses change (multicast DNS, RFC 6762; services, RFC 6763).

The name follows from the base's id and so stays the same for ever: a browser keeps what it holds under a name, and notes under
yesterday's name would be notes that nobody opens again. Where a network carries no multicast, nothing but this is missing.
"""

from __future__ import annotations

import ipaddress
import threading
from collections.abc import Callable, Sequence
from hashlib import sha256
from typing import Protocol

import ifaddr
from zeroconf import Error as ZeroconfError
from zeroconf import NonUniqueNameException, ServiceInfo, Zeroconf

from fieldkit.access.codes import LETTERS

SERVICE = "_fieldkit._tcp.local."
_LOOK_SECONDS = 5  # how soon another network is noticed
_ASK_MS = 2_000  # how long another base has to answer to our name: what was told within a second is not told again


def local_addresses() -> tuple[str, ...]:
    """The IPv4 addresses of this computer in the networks at hand, without those that only it can reach."""
    found = (ip.ip for adapter in ifaddr.get_adapters() for ip in adapter.ips if isinstance(ip.ip, str))
    return tuple(sorted(ip for ip in found if not ipaddress.ip_address(ip).is_loopback))


def lasting_name(base: str, letters: int = 4) -> str:
    """The name of a base: `fieldkit-` and a few letters that follow from its id."""
    number = int.from_bytes(sha256(base.encode()).digest()[:8])
    return "fieldkit-" + "".join(LETTERS[number >> 5 * i & 31] for i in range(letters)).lower()


class Announced(Protocol):
    """What is announced of a base."""

    base: str
    port: int


class Announcer(threading.Thread):
    """Answers, while it runs, whoever asks for the base's name."""

    def __init__(self, of: Announced, addresses: Callable[[], Sequence[str]] = local_addresses) -> None:
        super().__init__(name="fieldkit discovery", daemon=True)
        self._of = of
        self._addresses = addresses
        self._ended = threading.Event()
        self.heard = threading.Event()
        """Set once the first try to announce is through, whether it went well or not."""
        self.name_taken = False
        self.trouble = ""
        """Why nobody is answered; empty while they are."""

    @property
    def host(self) -> str:
        """The base's name with its domain: a longer one where another base on the network has the short one already."""
        return f"{lasting_name(self._of.base, 8 if self.name_taken else 4)}.local"

    def run(self) -> None:
        running, known = None, None
        try:
            while not self._ended.is_set():
                now = tuple(self._addresses())
                if now != known:
                    self._end(running)
                    running, known = self._begun(now), now
                    self.heard.set()
                self._ended.wait(_LOOK_SECONDS)
        finally:
            self._end(running)

    def stop(self) -> None:
        """Say good-bye. Returns at once; `join` waits until it is said."""
        self._ended.set()

    def _begun(self, addresses: Sequence[str]) -> Zeroconf | None:
        """Announce on these addresses. What a network refuses is told, and tried again on the next one."""
        self.trouble = ""
        if not addresses:
            return None
        try:
            speaking = Zeroconf(interfaces=list(addresses))
        except (OSError, ZeroconfError) as error:
            self.trouble = str(error) or type(error).__name__
            return None
        try:
            self._register(speaking, addresses)
        except (OSError, ZeroconfError, TimeoutError) as error:
            self.trouble = str(error) or type(error).__name__
        return speaking

    def _register(self, speaking: Zeroconf, addresses: Sequence[str]) -> None:
        self.name_taken = self._is_anothers(speaking)
        try:
            speaking.register_service(self._info(addresses))
        except NonUniqueNameException:
            self.name_taken = not self.name_taken
            speaking.register_service(self._info(addresses))

    def _is_anothers(self, speaking: Zeroconf) -> bool:
        """Whether another base answers to the short name. (What zeroconf asks itself is not heard within one computer.)"""
        self.name_taken = False
        answer = speaking.get_service_info(SERVICE, self._info(()).name, timeout=_ASK_MS)
        return answer is not None and answer.properties.get(b"base") != self._of.base.encode()

    def _info(self, addresses: Sequence[str]) -> ServiceInfo:
        return ServiceInfo(
            SERVICE,
            # The service is called like the computer: only the names of services are proved to be nobody else's.
            f"{self.host.removesuffix('.local')}.{SERVICE}",
            port=self._of.port,
            parsed_addresses=list(addresses),
            properties={"base": self._of.base, "path": "/api/v1/"},
            server=f"{self.host}.",
        )

    def _end(self, speaking: Zeroconf | None) -> None:
        if speaking is not None:
            speaking.close()
