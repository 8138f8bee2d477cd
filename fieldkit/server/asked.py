"""What a page about survival is asked, by its address: every choice stands there, so that a figure can be found again."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import TypeVar

from fieldkit.errors import Fault, raise_all
from fieldkit.reports.columns import LABELS
from fieldkit.reports.question import Estimate, Question
from fieldkit.server.errors import RequestError

T = TypeVar("T")

ESTIMATES: tuple[Estimate, ...] = ("npmle", "found", "round")
FILTERS = ("site", "genotype", "species", "cohort", "method", "plot")
KEPT = (*FILTERS, "as_of", "estimate")
"""What goes along from page to page."""


@dataclass
class Asked:
    """The words of an address, read one by one; what cannot be read is collected, and told all at once by `done`."""

    given: Mapping[str, str]

    def __post_init__(self) -> None:
        self._faults: list[Fault] = []

    def done(self) -> None:
        """Raise what was wrong.

        Raises:
            RequestError: names every word and value that is not known.
        """
        raise_all(RequestError, self._faults)

    def question(self, by: tuple[str, ...] = ()) -> Question:
        """The corals and the estimate that are asked about."""
        estimate = self.one_of("estimate", ESTIMATES, "pages.no_estimate")
        where = {name: self.given[name] for name in FILTERS if self.given.get(name)}
        return Question(by=by, where=where, as_of=self.day("as_of"), estimate=estimate)

    def by(self, default: str) -> tuple[str, ...]:
        """What figures are told by."""
        by = self.given.get("by", default)
        if by and not set(by.split(",")) <= set(LABELS):
            self._faults.append(Fault("pages.no_grouping", {"value": by[:80], "known": ", ".join(LABELS)}))
            return ()
        return tuple(by.split(",")) if by else ()

    def one_of(self, name: str, known: tuple[T, ...], fault: str) -> T:
        """One of some words; the first where none is given."""
        given = self.given.get(name) or known[0]
        found = next((one for one in known if one == given), None)
        if found is None:
            self._faults.append(Fault(fault, {"value": str(given)[:80], "known": ", ".join(map(str, known))}))
        return found or known[0]

    def age(self, default: int | None = None) -> int | None:
        """An age in days."""
        given = self.given.get("age", "")
        if given and not (given.isascii() and given.isdigit() and len(given) < 6):
            self._faults.append(Fault("pages.no_age", {"value": given[:80]}))
            return default
        return int(given) if given else default

    def day(self, name: str, default: date | None = None) -> date | None:
        """A day."""
        return self._read(name, date.fromisoformat, "pages.no_day") or default

    def percent(self, name: str, default: int) -> int:
        """A whole number of per cent, 1 to 99."""
        return self._read(name, _percent, "figures.no_percent") or default

    def number(self, name: str, default: int) -> int:
        """A whole number from 1."""
        return self._read(name, _whole, "figures.no_number") or default

    def _read(self, name: str, read: Callable[[str], T], fault: str) -> T | None:
        given = self.given.get(name, "")
        try:
            return read(given) if given else None
        except ValueError:
            self._faults.append(Fault(fault, {"value": given[:80]}))
            return None


def _whole(given: str) -> int:
    if not (given.isascii() and given.isdigit() and len(given) < 7 and int(given)):
        raise ValueError(given)
    return int(given)


def _percent(given: str) -> int:
    if _whole(given) > 99:
        raise ValueError(given)
    return int(given)
