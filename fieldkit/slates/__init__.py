"""Slates to print on waterproof paper: a plot's corals in the order of swimming, and boxes for what the protocol records.

What stands on a slate (`content`), where it stands on the paper (`layout`) and how it becomes a PDF (`drawing`) are three
things; only the last opens anything, the files of the type. What is known comes in as the register snapshot that devices
draw their slates from.
"""

from fieldkit.slates.content import Asked, Slate, slates
from fieldkit.slates.drawing import Drawn, as_pdf, sheets_needed
from fieldkit.slates.errors import SlatesError
from fieldkit.slates.paper import PAPERS, Paper

__all__ = ["PAPERS", "Asked", "Drawn", "Paper", "Slate", "SlatesError", "as_pdf", "sheets_needed", "slates"]
