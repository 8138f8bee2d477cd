"""A small invented programme, said entry by entry: what the tests of ledger, settling and base build on."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from fieldkit.base import Base
from fieldkit.ledger import Entry, derived_id, mint
from fieldkit.protocol import Protocol, read_protocol

PROTOCOL_FILE = Path(__file__).parents[2] / "sample_surveys" / "protocols" / "post_outplant_monitoring.toml"


def monitoring() -> Protocol:
    return read_protocol(PROTOCOL_FILE.read_bytes(), name=PROTOCOL_FILE.name)


def name(*words: object) -> str:
    """An id that is the same in every run."""
    return derived_id("test", *map(str, words))


class Book:
    """One session, written entry by entry."""

    def __init__(self, called: str, *, role: str = "crew", device: str | None = None, **values: Any) -> None:
        self.session = name("session", called)
        self.device = name("device", device or called)
        self.entries: list[Entry] = []
        self.at = 0
        """What the device's clock tells, in milliseconds since 1970; it was never set."""
        self.say("session", {"role": role, **values})

    def say(self, kind: str, values: Mapping[str, Any], replaces: Iterable[str] = ()) -> Entry:
        entry = mint(
            kind,
            device=self.device,
            session=self.session,
            seq=len(self.entries) + 1,
            at=self.at,
            values=values,
            replaces=replaces,
        )
        self.entries.append(entry)
        return entry


class Reef:
    """Site Amo with plots of corals planted on 2024-03-01, tags 101, 102 … in plot A and 201 … in plot B."""

    def __init__(self, plots: Mapping[str, int] | None = None) -> None:
        self.protocol = monitoring()
        self.site = name("site")
        self.books: list[Book] = []
        register = self._book(Book("register", role="lead", device="base"))
        register.say("site", {"site": self.site, "name": "Amo"})
        register.say("genotype", {"genotype": name("genotype"), "accession": "G1", "species": "Acropora sp."})
        planting = self._book(Book("planting", role="lead", device="base", site=self.site, day="2024-03-01"))
        for i, (plot, count) in enumerate((plots or {"A": 3, "B": 2}).items(), 1):
            register.say("plot", {"plot": self.plot(plot), "site": self.site, "name": plot, "recorded_as": "tagged"})
            for j in range(1, count + 1):
                tag = f"{100 * i + j}"
                planting.say(
                    "planting",
                    {
                        "row": self.coral(tag),
                        "plot": self.plot(plot),
                        "tag": tag,
                        "position": str(j),
                        "genotype": name("genotype"),
                    },
                )

    def _book(self, book: Book) -> Book:
        self.books.append(book)
        return book

    def plot(self, called: str) -> str:
        return name("plot", called)

    def coral(self, tag: str) -> str:
        return name("coral", tag)

    def dive(self, called: str, day: str, **values: Any) -> Book:
        said = {"site": self.site, "day": day, "protocol": self.protocol.digest, "recorder": called, **values}
        return self._book(Book(called + day, **said))

    def lead(self, called: str) -> Book:
        return self._book(Book(called, role="lead"))

    def see(self, book: Book, tag: str, status: str | None = "alive", plot: str = "A", **values: Any) -> Entry:
        """An observation by tag as noted; of the whole row what `values` give besides."""
        said = {"row": name("row", book.session, len(book.entries)), "plot": self.plot(plot), "tag": tag, **values}
        return book.say("observation", said if status is None else {**said, "status": status})

    def entries(self) -> list[Entry]:
        return [entry for book in self.books for entry in book.entries]


def base_of(folder: Path, entries: Iterable[Entry] = (), protocols: Iterable[Protocol] = ()) -> Base:
    """A base that holds these entries and protocol files, each entry handed in as it comes."""
    base = Base.create(folder, "Amo Reef Nursery", name("programme"))
    for protocol in protocols:
        base.keep_protocol(protocol.body)
    base.receive(entries, source="test")
    return base
