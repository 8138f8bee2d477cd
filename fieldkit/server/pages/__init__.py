"""The pages, one blueprint a subject. A route parses what was asked, calls one function of a room, and draws a template."""

from fieldkit.server.pages.agreement import pages as agreement
from fieldkit.server.pages.behind import pages as behind
from fieldkit.server.pages.corals import pages as corals
from fieldkit.server.pages.days import pages as days
from fieldkit.server.pages.due import pages as due
from fieldkit.server.pages.exports import pages as exports
from fieldkit.server.pages.imports import pages as imports
from fieldkit.server.pages.matters import pages as matters
from fieldkit.server.pages.photos import pages as photos
from fieldkit.server.pages.plantings import pages as plantings
from fieldkit.server.pages.programme import pages as programme
from fieldkit.server.pages.questions import pages as questions
from fieldkit.server.pages.reach import pages as reach
from fieldkit.server.pages.sign_in import pages as sign_in
from fieldkit.server.pages.slates import pages as slates
from fieldkit.server.pages.survival import pages as survival

BLUEPRINTS = (
    days, due, slates, matters, photos, survival, questions, behind, agreement, corals, programme, plantings, imports,
    exports, reach, sign_in,
)  # fmt: skip

__all__ = ["BLUEPRINTS"]
