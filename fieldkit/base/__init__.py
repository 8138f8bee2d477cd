"""A base: the folder that holds one programme's data, written by `receive` and `say`, read through a `View`.

Design's `ledger`, `register` and `settle` are pure; this room is where their folds meet the disk.
"""

from fieldkit.base.answers import Answer, corals_next_door, find_matter, statement, take_back, take_back_together
from fieldkit.base.base import Base, Merged, Statement
from fieldkit.base.database import has_wal_reset_race
from fieldkit.base.desk import as_dive
from fieldkit.base.errors import BaseError, SayError
from fieldkit.base.histories import NONE, Histories
from fieldkit.base.mappings import SavedMappings
from fieldkit.base.other_base import is_base, merge_base
from fieldkit.base.rows import (
    CoralRow,
    CountedRow,
    CountedVisitRow,
    FateRow,
    MatterInBrief,
    MatterRow,
    ObservationRow,
    PhotoRow,
    SeenRow,
    SessionRow,
)
from fieldkit.base.spreadsheets import import_sheets, mapping_of, monitoring_protocol, proposal, saved_mappings
from fieldkit.base.view import View

__all__ = [
    "NONE",
    "Answer",
    "Base",
    "BaseError",
    "CoralRow",
    "CountedRow",
    "CountedVisitRow",
    "FateRow",
    "Histories",
    "MatterInBrief",
    "MatterRow",
    "Merged",
    "ObservationRow",
    "PhotoRow",
    "SavedMappings",
    "SayError",
    "SeenRow",
    "SessionRow",
    "Statement",
    "View",
    "as_dive",
    "corals_next_door",
    "find_matter",
    "has_wal_reset_race",
    "import_sheets",
    "is_base",
    "mapping_of",
    "merge_base",
    "monitoring_protocol",
    "proposal",
    "saved_mappings",
    "statement",
    "take_back",
    "take_back_together",
]
