"""An IPv4 address as eight letters, to be read from the base's screen and typed into a phone.

Forty bits, five a letter (`fieldkit.access.codes` says which letters): the 32 of the address, then its remainder by 251 in
eight. 251 is a prime above all that one letter, or two neighbours that changed places, can add to the address: both slips
always show. A port other than the usual one is written after it as in an address: `R1M0-84AB:9443`. docs/exchange.md has it
for others.
"""

from __future__ import annotations

import ipaddress

from fieldkit.access import spelt
from fieldkit.access.codes import LETTERS

TLS_PORT = 8443
_CHECK = 251


def address_code(address: str, port: int = TLS_PORT) -> str:
    """The code of an IPv4 address and port."""
    number = int(ipaddress.IPv4Address(address))
    bits = number << 8 | number % _CHECK
    letters = "".join(LETTERS[bits >> shift & 31] for shift in range(35, -1, -5))
    return spelt(letters) + ("" if port == TLS_PORT else f":{port}")
