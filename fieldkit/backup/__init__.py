"""Backups: a second copy of a base, on another disk, that is itself a base.

So a backup is proved by opening it, merged like any other base, and put back by copying.
"""

from fieldkit.backup.backup import BackedUp, back_up, restore
from fieldkit.backup.errors import BackupError
from fieldkit.backup.evening import Evening, is_due
from fieldkit.backup.place import Kept, kept, newest_days_old, remember

__all__ = [
    "BackedUp",
    "BackupError",
    "Evening",
    "Kept",
    "back_up",
    "is_due",
    "kept",
    "newest_days_old",
    "remember",
    "restore",
]
