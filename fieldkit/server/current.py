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
    return Names(reader(), current_protocols(view), {"genotype": genotypes, "site": sites})


def current_protocols(view: View) -> list[Protocol]:
    """The programme's protocols as far as their files are here, the newest versions first."""
    base = current_base()
    digests = {str(said.get("digest", "")) for said in view.things("protocol").values()}
    found = [protocol for digest in digests if (protocol := base.protocol(digest))]
    return sorted(found, key=lambda protocol: (-protocol.version, protocol.digest))
