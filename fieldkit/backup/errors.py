"""What can go wrong with backups."""

from __future__ import annotations

from fieldkit.errors import FieldkitError


class BackupError(FieldkitError):
    """A backup could not be made, proved or put back; the base and the backup before it are as they were."""
