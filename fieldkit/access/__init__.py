"""Who may speak to this base: devices by their tokens, people by their passwords.

Of this laptop alone: it stands in a file of its own beside the ledger, is never handed on, and a base that is made anew from
carry files begins without it. Nothing is kept by which somebody could get in: of tokens, codes and passwords only digests.
"""

from fieldkit.access.access import Access
from fieldkit.access.attempts import TooManyError
from fieldkit.access.codes import CODE_LENGTH, as_typed, new_code, spelt
from fieldkit.access.devices import CODE_MINUTES, Device, Devices
from fieldkit.access.errors import AccessError
from fieldkit.access.people import People, Person
from fieldkit.access.roles import BASE, CREW, LEAD, PERSON_ROLES, ROLES, VIEWER

__all__ = [
    "BASE",
    "CODE_LENGTH",
    "CODE_MINUTES",
    "CREW",
    "LEAD",
    "PERSON_ROLES",
    "ROLES",
    "VIEWER",
    "Access",
    "AccessError",
    "Device",
    "Devices",
    "People",
    "Person",
    "TooManyError",
    "as_typed",
    "new_code",
    "spelt",
]
