"""What the running application belongs to: its base, who may speak to it, and the words that the base's protocols give."""

from __future__ import annotations

from flask import current_app

from fieldkit.access import Access
from fieldkit.base import Base, View
from fieldkit.protocol import Protocol
from fieldkit.server.language import reader
from fieldkit.server.names import Names
from fieldkit.server.reach import Reach

BASE, ACCESS, REACH, API, EXCHANGE = "fieldkit.base", "fieldkit.access", "fieldkit.reach", "fieldkit.api", "fieldkit.exchange"
"""Where an application keeps them, among its `extensions`."""


def current_base() -> Base:
    base: Base = current_app.extensions[BASE]
    return base


def current_access() -> Access:
    access: Access = current_app.extensions[ACCESS]
    return access


def current_reach() -> Reach | None:
    """Where other devices find the base; None: it serves this computer alone."""
    reach: Reach | None = current_app.extensions.get(REACH)
    return reach


def current_names(view: View) -> Names:
    """The words for this request's reader."""
    genotypes = {id_: str(said.get("accession", id_)) for id_, said in view.things("genotype").items()}
    sites = {id_: str(said.get("name", id_)) for id_, said in view.things("site").items()}
    return Names(reader(), current_protocols(), {"genotype": genotypes, "site": sites})


def current_protocols() -> list[Protocol]:
    """Every protocol whose file is here, adopted or only noted under, the newest versions first."""
    base = current_base()
    found = [protocol for digest in base.protocols.digests() if (protocol := base.protocol(digest))]
    return sorted(found, key=lambda protocol: (-protocol.version, protocol.digest))
