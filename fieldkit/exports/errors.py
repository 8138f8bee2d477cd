"""What can go wrong with taking data out."""

from __future__ import annotations

from fieldkit.errors import FieldkitError


class ExportError(FieldkitError, ValueError):
    """Something was asked for that cannot be written; no file was made."""
