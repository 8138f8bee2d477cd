"""What leaves the base for other programs: tidy tables with their dictionary, a Darwin Core archive, maps.

A scope says which corals, as of which day, and how much of places and people goes out: positions are rounded and nobody is
named unless that was chosen. Reads alone; every form is an open standard that other tools read without asking us.
"""

from __future__ import annotations

from fieldkit.exports.errors import ExportError
from fieldkit.exports.export import FORMS, export, form_of
from fieldkit.exports.places import GRAINS
from fieldkit.exports.scope import Scope

__all__ = ["FORMS", "GRAINS", "ExportError", "Scope", "export", "form_of"]
