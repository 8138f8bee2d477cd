"""Taking in old spreadsheets: cells are read, columns understood, rows turned into entries, and every row accounted for.

What cannot be understood is refused with its row, column, value and reason, or asked; nothing is guessed. The same file with
the same mapping always makes the same entries. `docs/import.md` is for those who have a sheet.
"""

from fieldkit.register.sheets.account import Ask, Left, Refused, Taken
from fieldkit.register.sheets.errors import SheetError
from fieldkit.register.sheets.mapping import Mapping, read_mapping
from fieldkit.register.sheets.mapping_file import written_mapping
from fieldkit.register.sheets.proposing import Proposal, SeenColumn, propose
from fieldkit.register.sheets.reading import ALL_TABS, read_file, read_sheet, sheet_of, sheets_of, tabs_of
from fieldkit.register.sheets.sheet import Row, Sheet, Unknown
from fieldkit.register.sheets.taking import Told, import_digest, take, take_all, untold
from fieldkit.register.sheets.things import Names

__all__ = [
    "ALL_TABS",
    "Ask",
    "Left",
    "Mapping",
    "Names",
    "Proposal",
    "Refused",
    "Row",
    "SeenColumn",
    "Sheet",
    "SheetError",
    "Taken",
    "Told",
    "Unknown",
    "import_digest",
    "propose",
    "read_file",
    "read_mapping",
    "read_sheet",
    "sheet_of",
    "sheets_of",
    "tabs_of",
    "take",
    "take_all",
    "untold",
    "written_mapping",
]
