"""A sheet as a person sees it: rows by their number, cells as shown. What the cells mean is decided elsewhere. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from fieldkit.errors import Fault

ERRORS = frozenset({"#N/A", "#REF!", "#VALUE!", "#DIV/0!", "#NAME?", "#NULL!", "#NUM!"})
"""What a spreadsheet program shows, and saves, for a formula that gave no value."""


@dataclass(frozen=True, slots=True)
class Unknown:
    """A cell whose value the file does not hold: a formula that was never calculated, or the error that it gave."""

    shown: str


Cell = str | date | Decimal | Unknown
"""A text as shown ("" where blank); a day or a number where the file itself says that it is one; or a value not there."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its number as a spreadsheet program shows it (from 1), and its cells from column A on, no trailing blanks."""

    number: int
    cells: tuple[Cell, ...]

    def cell(self, column: int) -> Cell:
        return self.cells[column] if column < len(self.cells) else ""


@dataclass(frozen=True, slots=True)
class Sheet:
    """What was read from one sheet of a file.

    Attributes:
        file: the file's name, for messages.
        name: the name of the tab; "" where the file has none (CSV).
        digest: SHA-256 of the file's bytes.
        rows: the rows that hold anything, by number; numbers that are left out are blank rows.
        remarks: what a person should know about how it was read.
        saved_on: the day on which the file says that it was last saved, where it says so.
    """

    file: str
    name: str
    digest: str
    rows: tuple[Row, ...]
    remarks: tuple[Fault, ...] = ()
    saved_on: date | None = None

    @property
    def title(self) -> str:
        """How messages name it."""
        return f"{self.file} [{self.name}]" if self.name else self.file


def shown(cell: Cell) -> str:
    """A cell as a person sees it, for messages."""
    if isinstance(cell, Unknown):
        return cell.shown
    if isinstance(cell, Decimal):
        return f"{cell:f}"
    return cell.isoformat() if isinstance(cell, date) else cell


def letter(column: int) -> str:
    """The letters of a column, counted from 0: A, B … Z, AA."""
    letters = ""
    column += 1
    while column:
        column, place = divmod(column - 1, 26)
        letters = chr(ord("A") + place) + letters
    return letters
