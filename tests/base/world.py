"""A programme as it happens: people who note, mistake, correct and rule, and bases that hear of it in any order.

What is said stands in `said`, once and for ever; each base holds some of it. The rules of `test_state_laws.py` let things
happen; `test_many_seeds.py` lets many of them happen at random.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from fieldkit.base import Base, View
from fieldkit.ledger import Entry, mint, read
from fieldkit.protocol import Protocol
from tests.support.programme import Book, Reef, base_of, name

DAYS = ("2024-06-01", "2024-06-02", "2024-06-03", "2024-09-01")
TAGS = ("101", "102", "201", "202", "l01", "999")
PLOTS = ("A", "B", "C")
STATUSES = ("alive", "dead", "missing", "wrong")


class World:
    """Two sites with plots A and B of tagged corals and C of counted ones; two bases that know nothing of each other yet."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.reef = Reef({"A": 2, "B": 2})
        self.other_site = name("other site")
        self.bases = [base_of(folder / called) for called in ("one", "other")]
        self.books: list[Book] = [*self.reef.books]
        register, planting = self.reef.books
        register.say("site", {"site": self.other_site, "name": "Bako"})
        register.say("plot", {"plot": self.reef.plot("C"), "site": self.reef.site, "name": "C", "recorded_as": "counted"})
        group = {"row": name("group"), "plot": self.reef.plot("C"), "genotype": name("genotype"), "count": "10"}
        planting.say("planting", group)
        self._carried = 0

    @property
    def protocol(self) -> Protocol:
        return self.reef.protocol

    @property
    def said(self) -> list[Entry]:
        """Everything that was ever said, by anybody."""
        return [entry for book in self.books for entry in book.entries]

    def of_kinds(self, *kinds: str) -> list[Entry]:
        return [entry for entry in self.said if entry.kind in kinds]

    # what people do

    def open_book(self, *, role: str = "crew", **values: Any) -> Book:
        book = Book(f"{role} {len(self.books)}", role=role, **values)
        self.books.append(book)
        return book

    def dive(self, day: str, site: str, **values: Any) -> Book:
        return self.open_book(day=day, site=site, protocol=self.protocol.digest, recorder=f"R{len(self.books) % 3}", **values)

    def see(self, book: Book, plot: str, how: Mapping[str, Any], status: str, **values: Any) -> Entry:
        row = {"row": name("row", book.session, len(book.entries)), "plot": self.reef.plot(plot)}
        return book.say("observation", {**row, **how, "status": status, **values})

    def count(self, book: Book, alive: int, **values: Any) -> Entry:
        """A count of the group in plot C, of which ten were planted."""
        said = {"row": name("row", book.session, len(book.entries)), "plot": self.reef.plot("C")}
        return book.say("observation", {**said, "genotype": name("genotype"), "alive": str(alive), "dead": "1", **values})

    def rule(self, matter: str, of: Sequence[str], answer: str, replaces: Iterable[str] = (), **keys: Any) -> Entry:
        """A lead at some base answers a matter."""
        book = self.open_book(role="lead")
        return book.say("ruling", {"matter": matter, "of": sorted(of), "answer": answer, **keys}, replaces)

    def forge(self, book: Book, place: int, kind: str, values: Mapping[str, Any], device: str) -> Entry:
        """An entry in somebody's session, at a place that may be taken, from a device that may be another's."""
        entry = mint(kind, device=device, session=book.session, seq=place, at=1, values=values)
        book.entries.append(entry)
        return entry

    def from_the_future(self, book: Book, kind: str, values: Mapping[str, Any]) -> Entry:
        """An entry in a form that a later version of ours gives it."""
        earlier = mint(kind, device=book.device, session=book.session, seq=len(book.entries) + 1, at=0, values=values)
        entry = read(earlier.body.replace(b'"v":1', b'"v":2'))
        book.entries.append(entry)
        return entry

    # how it becomes known

    def carry(self, giver: Base, taker: Base) -> None:
        self._carried += 1
        path = self.folder / f"carried {self._carried}.zip"
        giver.carry(path)
        taker.merge(path)

    def fresh(self, entries: Iterable[Entry], *, protocols: Iterable[Protocol] = ()) -> Base:
        """Another base, that hears of these entries at once."""
        self._carried += 1
        return base_of(self.folder / f"fresh {self._carried}", entries, protocols)


def digest(base: Base) -> str:
    with base.view() as view:
        return view.digest()


def settled(base: Base) -> dict[str, list[dict[str, Any]]]:
    """What the state says of corals, observations, matters and things, without the sessions in which it was said."""
    tables = ("coral", "seen", "counted", "counted_visit", "fate", "matter", "slate", "thing", "photo")
    with base.view() as view:
        return {table: sorted(view.rows(f"SELECT * FROM {table}"), key=repr) for table in tables}


def accounts(view: View) -> tuple[int, int]:
    """How many observations have a fate, and how many there are."""
    return sum(view.fates().values()), view.ledger.counts().get("observation", 0)
