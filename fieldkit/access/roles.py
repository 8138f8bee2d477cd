"""What somebody may do at a base, in one word."""

from __future__ import annotations

CREW = "crew"  # hands in
LEAD = "lead"  # says also what a lead may, and decides who else may speak
VIEWER = "viewer"  # reads
BASE = "base"  # another base: hands in whatever its devices said, and fetches

ROLES = (CREW, LEAD, VIEWER, BASE)
PERSON_ROLES = (LEAD, VIEWER, CREW)
