"""What became of a sheet: every row taken or refused, what was asked, what was passed over. The parts of the report. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from fieldkit import messages
from fieldkit.errors import Fault
from fieldkit.ledger import Entry


@dataclass(frozen=True, slots=True)
class Refused:
    """A cell for which its whole row was not taken. `column` is the heading in the sheet, `value` the cell as it is shown."""

    sheet: str
    row: int
    column: str
    value: str
    fault: Fault

    def text(self, language: str = messages.DEFAULT) -> str:
        """The whole sentence: where, what, why and what would be right."""
        place = {"sheet": self.sheet, "row": self.row, "column": self.column, "value": self.value}
        sentence = "sheets.refused" if self.value else "sheets.refused_blank"
        return messages.text(sentence, language, why=self.fault.text(language), **place)


@dataclass(frozen=True, slots=True)
class Ask:
    """A question to the person who knows the sheet; the answer goes into the mapping file, or into the sheet."""

    sheet: str
    column: str
    value: str
    rows: tuple[int, ...]
    fault: Fault

    def text(self, language: str = messages.DEFAULT) -> str:
        return self.fault.text(language)


@dataclass(frozen=True, slots=True)
class Left:
    """Something to know of what was taken, or of what was rightly passed over; and the rows that it is about."""

    fault: Fault
    rows: tuple[int, ...] = ()

    def text(self, language: str = messages.DEFAULT) -> str:
        return self.fault.text(language)


@dataclass(frozen=True, slots=True)
class Taken:
    """What an import gives. `rows_taken` and the distinct rows of `refused` add up to the rows with data.

    Attributes:
        digest: of the file's bytes, its tab and the mapping: the `import` of every session made.
        entries: in order, session by session; the same bytes on every run.
        corals, observations: how many were made or spoken of, counted groups as one.
    """

    digest: str
    entries: tuple[Entry, ...]
    rows_taken: int
    corals: int
    observations: int
    refused: tuple[Refused, ...]
    asks: tuple[Ask, ...]
    left: tuple[Left, ...]

    @property
    def rows_refused(self) -> int:
        return len({refused.row for refused in self.refused})


_SHOWN_ROWS = 8


def listed(rows: Iterable[int]) -> str:
    """Row numbers for a sentence: "3, 4, 9 …"."""
    numbers = list(rows)
    return ", ".join(map(str, numbers[:_SHOWN_ROWS])) + (" …" if len(numbers) > _SHOWN_ROWS else "")


def about(key: str, rows: Iterable[int]) -> Left:
    """What is said of some rows: their number and the first of them."""
    numbers = tuple(rows)
    return Left(Fault(key, {"n": len(numbers), "rows": listed(numbers)}), numbers)
