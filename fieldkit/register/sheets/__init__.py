"""Taking in old spreadsheets: cells are read, columns understood, rows turned into entries, and every row accounted for.

What cannot be understood is refused with its row, column, value and reason, or asked; nothing is guessed. The same file with
the same mapping always makes the same entries. `docs/import.md` is for those who have a sheet.
"""

from fieldkit.register.sheets.account import Ask, Left, Refused, Taken
from fieldkit.register.sheets.errors import SheetError
from fieldkit.register.sheets.mapping import Mapping, read_mapping
from fieldkit.register.sheets.reading import read_sheet, sheet_of
from fieldkit.register.sheets.sheet import Row, Sheet, Unknown
from fieldkit.register.sheets.taking import import_digest, take
from fieldkit.register.sheets.things import Names

__all__ = [
    "Ask",
    "Left",
    "Mapping",
    "Names",
    "Refused",
    "Row",
    "Sheet",
    "SheetError",
    "Taken",
    "Unknown",
    "import_digest",
    "read_mapping",
    "read_sheet",
    "sheet_of",
    "take",
]
