"""What is near: this computer, and the network at hand."""

from __future__ import annotations

import ipaddress


def is_near(host: str) -> bool:
    """Whether a host's name or address can only be one of this computer or of the network at hand."""
    if host == "localhost" or host.endswith(".local"):
        return True
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        return False
    return address.is_private or address.is_loopback or address.is_link_local
