"""Under what names and addresses a base can be reached just now, and what leads a phone there."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from fieldkit.server.address_code import address_code
from fieldkit.server.authority import Authority, may_vouch_for
from fieldkit.server.discovery import Announcer, local_addresses


@dataclass(frozen=True)
class Wifi:
    """The network that phones are to join, as the lead gave it."""

    name: str
    password: str = ""

    @property
    def code(self) -> str:
        """What a QR code says to join it; a form that phones know (common practice, no standard)."""
        kind, secret = ("WPA", f"P:{_escaped(self.password)};") if self.password else ("nopass", "")
        return f"WIFI:T:{kind};S:{_escaped(self.name)};{secret};"


def _escaped(text: str) -> str:
    return "".join("\\" + letter if letter in '\\;,:"' else letter for letter in text)


class Reach:
    """Where one running base is. Asked anew each time: networks come and go."""

    def __init__(
        self,
        authority: Authority,
        base: str,
        *,
        port: int,
        plain_port: int,
        wifi: Wifi | None = None,
        hands_in_over_http: bool = False,
        addresses: Callable[[], Sequence[str]] = local_addresses,
    ) -> None:
        self.authority = authority
        self.base = base
        self.port = port
        self.plain_port = plain_port
        self.wifi = wifi
        self.hands_in_over_http = hands_in_over_http
        self._addresses = addresses
        self.announcer = Announcer(self, addresses)

    @property
    def name(self) -> str:
        return self.announcer.host

    def addresses(self) -> list[str]:
        """IPv4 addresses that phones may dial: those for which the base's certificate is good."""
        return [address for address in self._addresses() if may_vouch_for(address)]

    def all_addresses(self) -> list[str]:
        """Also those that a name leads to, and no certificate."""
        return list(self._addresses())

    def page(self, host: str | None = None, code: str | None = None) -> str:
        """The address of the page on which notes are entered; with a pairing code in it, that is not sent over the network."""
        return f"https://{host or self.name}:{self.port}/enter" + (f"#pair/{code}" if code else "")

    def first_page(self, host: str | None = None, code: str | None = None) -> str:
        """The address of the page that leads a phone through trusting this base."""
        return f"http://{host or self.name}:{self.plain_port}/" + (f"#pair/{code}" if code else "")

    def code_of(self, address: str) -> str:
        """An address as a few letters to type."""
        return address_code(address, self.port)
