"""What the running application belongs to: its base, and the words that the base's protocols give."""

from __future__ import annotations

from flask import current_app

from fieldkit.base import Base, View
from fieldkit.protocol import Protocol
from fieldkit.server.language import reader
from fieldkit.server.names import Names


def current_base() -> Base:
    base: Base = current_app.extensions["fieldkit.base"]
    return base


def current_names(view: View) -> Names:
    """The words for this request's reader."""
    genotypes = {id_: str(said.get("accession", id_)) for id_, said in view.things("genotype").items()}
    sites = {id_: str(said.get("name", id_)) for id_, said in view.things("site").items()}
    return Names(reader(), _protocols(), {"genotype": genotypes, "site": sites})


def _protocols() -> list[Protocol]:
    """Every protocol whose file is here, adopted or only noted under, the newest versions first."""
    base = current_base()
    found = [protocol for digest in base.protocols.digests() if (protocol := base.protocol(digest))]
    return sorted(found, key=lambda protocol: (-protocol.version, protocol.digest))
