"""Who looks at a page, and what they may see and do.

Whoever sits at the laptop and opens its pages there, over plain http on an address that only it can reach, is the lead and
need not sign in: they could as well open the folder. From anywhere else it takes TLS and a password. What is not
named here is the lead's alone.
"""

from __future__ import annotations

import ipaddress
from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlencode

from flask import Flask, g, redirect, request, url_for
from werkzeug.wrappers import Response

from fieldkit.access import CREW, LEAD, PERSON_ROLES, VIEWER
from fieldkit.server.current import current_access
from fieldkit.server.errors import NotYoursError, StrangerError
from fieldkit.server.safety import READS_ONLY, SIGN_IN_COOKIE

EVERYBODY = frozenset({"static", "start", "sign_in.show", "sign_in.enter"})  # pages that nobody signs in for
EVERYBODYS = frozenset({"entry"})  # and whole blueprints: a phone is known by its token, not by a person's name
READERS: Mapping[str, tuple[str, ...]] = {
    "days": (CREW, VIEWER, LEAD),
    "due": (CREW, VIEWER, LEAD),
    "slates": (CREW, VIEWER, LEAD),
    "programme": (CREW, VIEWER, LEAD),
    "plantings": (CREW, VIEWER, LEAD),
    "matters": (VIEWER, LEAD),
    "corals": (VIEWER, LEAD),
    "survival": (VIEWER, LEAD),
    "agreement": (VIEWER, LEAD),
    "questions": (VIEWER, LEAD),
    "behind": (VIEWER, LEAD),
    "photos": (VIEWER, LEAD),
    "exports": (VIEWER, LEAD),
    "imports": (LEAD,),
    "reach": (LEAD,),
    "sign_in": PERSON_ROLES,
}
"""Who may read the pages of a blueprint. What changes something is the lead's, but for signing out."""
_CHANGED_BY_ALL = frozenset({"sign_in.leave"})


@dataclass(frozen=True)
class Visitor:
    """Somebody who looks at a page."""

    name: str | None
    """By which they signed in; None: they sit at the laptop."""
    role: str

    @property
    def is_here(self) -> bool:
        return self.name is None

    def may(self, endpoint: str, *, reads: bool = True) -> bool:
        """Whether they may open a page, or change something through it."""
        readers = READERS.get(endpoint.partition(".")[0], (LEAD,))
        return self.role in (readers if reads or endpoint in _CHANGED_BY_ALL else (LEAD,))


def current_visitor() -> Visitor | None:
    """Who looks; None: nobody who signed in."""
    if "visitor" not in g:
        g.visitor = _found()
    found: Visitor | None = g.visitor
    return found


def known_visitor() -> Visitor:
    """Who looks, on a page that is open to nobody unknown."""
    visitor = current_visitor()
    if visitor is None:
        raise StrangerError.of("pages.not_over_http")
    return visitor


def admit(app: Flask) -> None:
    """Open each page to those it is for, and let every template know who looks."""
    app.before_request(_admit)
    app.context_processor(lambda: {"visitor": current_visitor()})


def _found() -> Visitor | None:
    if request.is_secure:
        person = current_access().people.signed_in(request.cookies.get(SIGN_IN_COOKIE, ""))
        return Visitor(person.name, person.role) if person else None
    is_here = ipaddress.ip_address(request.remote_addr or "0.0.0.0").is_loopback
    return Visitor(None, LEAD) if is_here else None


def _admit() -> Response | None:
    endpoint = request.endpoint or ""
    if not request.is_secure:
        known_visitor()
    if endpoint in EVERYBODY or endpoint.partition(".")[0] in EVERYBODYS:
        return None
    visitor = current_visitor()
    if visitor is None:
        then = request.full_path.rstrip("?") if request.method in READS_ONLY else ""
        return redirect(url_for("sign_in.show") + (f"?{urlencode({'then': then})}" if then else ""), 303)
    if endpoint and not visitor.may(endpoint, reads=request.method in READS_ONLY):
        raise NotYoursError.of("pages.not_yours", role=visitor.role)
    return None
