"""The programme as its people see it: what is registered, how much of permits and lots is used, what was planted, and a
planting before it is written."""

from fieldkit.reports.programme.overview import Lot, Overview, Permit, lot_stock, overview
from fieldkit.reports.programme.plantings import Outplanting, outplanting, outplanting_protocol, outplantings
from fieldkit.reports.programme.preview import Preview, preview, statements
from fieldkit.reports.programme.things import Registered, called, hanging_on, of_kind, registered, story_of

__all__ = [
    "Lot",
    "Outplanting",
    "Overview",
    "Permit",
    "Preview",
    "Registered",
    "called",
    "hanging_on",
    "lot_stock",
    "of_kind",
    "outplanting",
    "outplanting_protocol",
    "outplantings",
    "overview",
    "preview",
    "registered",
    "statements",
    "story_of",
]
