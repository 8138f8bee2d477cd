"""An IPv4 address as eight letters, to be read from the base's screen and typed into a phone.

Forty bits, five a letter (`fieldkit.access.codes` says which letters): the 32 of the address, then its remainder by 251 in
eight. 251 is a prime above all that one letter, or two neighbours that changed places, can add to the address: both slips
always show. A port other than the usual one is written after it as in an address: `R1M0-84AB:9443`. docs/exchange.md has it
for others.
"""

from __future__ import annotations

import ipaddress

from fieldkit.access import as_typed, spelt
from fieldkit.access.codes import LETTERS

TLS_PORT = 8443
_CHECK = 251


def address_code(address: str, port: int = TLS_PORT) -> str:
    """The code of an IPv4 address and port."""
    number = int(ipaddress.IPv4Address(address))
    bits = number << 8 | number % _CHECK
    letters = "".join(LETTERS[bits >> shift & 31] for shift in range(35, -1, -5))
    return spelt(letters) + ("" if port == TLS_PORT else f":{port}")


def of_code(typed: str) -> tuple[str, int] | None:
    """The address and port that somebody meant who typed this; None: it is no code, or there is a slip in it."""
    letters, _, port = typed.partition(":")
    code = as_typed(letters)
    if code is None or (port and not _is_port(port)):
        return None
    bits = sum(LETTERS.index(letter) << shift for letter, shift in zip(code, range(35, -1, -5), strict=True))
    number, check = bits >> 8, bits & 255
    return (str(ipaddress.IPv4Address(number)), int(port or TLS_PORT)) if number % _CHECK == check else None


def _is_port(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) <= 5 and 0 < int(text) < 65536
