"""An invented programme at several sites, said entry by entry: what the tests of a lead's questions build on."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from fieldkit.base import Base
from tests.support.programme import Book, base_of, monitoring, name

PLANTED = "2024-03-01"


class Sites:
    """Sites, plots and corals by plain names; a coral's name is its plot, genotype and number: `A1/G1/0`.

    A plot's name begins with the letter of its site. Corals are planted on one day.
    """

    def __init__(self) -> None:
        self.protocol = monitoring()
        self._register = Book("register", role="lead", device="base")
        self._plantings: dict[tuple[str, str], Book] = {}
        self._dives: list[Book] = []
        self._known: set[str] = set()

    def plant(self, plot: str, genotype: str, corals: int, *, day: str = PLANTED, method: str = "epoxy") -> list[str]:
        """Plant tagged corals; their names."""
        book = self._planting(plot, genotype, day)
        made = [f"{plot}/{genotype}/{i}" for i in range(corals)]
        for coral in made:
            values = {"row": name(coral), "plot": name(plot), "tag": coral, "genotype": name(genotype), "method": method}
            book.say("planting", values)
        return made

    def plant_counted(self, plot: str, genotype: str, corals: int) -> None:
        """Plant corals that will only be counted."""
        values = {"row": name(plot, genotype), "plot": name(plot), "genotype": name(genotype), "count": str(corals)}
        self._planting(plot, genotype, PLANTED).say("planting", values)

    def dive(self, site: str, day: str, seen: Mapping[str, str]) -> None:
        """One visit of a site: coral to state, or to state and cause (`dead heat`)."""
        book = self._dive(site, day)
        for coral, said in seen.items():
            status, *cause = said.split()
            values = {"row": name(site, day, coral), "plot": name(coral.split("/")[0]), "coral": name(coral), "status": status}
            book.say("observation", values | ({"cause": cause[0]} if cause else {}))

    def count(self, site: str, day: str, plot: str, genotype: str, alive: int, dead: int, missing: int) -> None:
        values = {"row": name(site, day, plot, genotype), "plot": name(plot), "genotype": name(genotype)}
        numbers = {"alive": str(alive), "dead": str(dead), "missing": str(missing)}
        self._dive(site, day).say("observation", values | numbers)

    def withdraw(self, coral: str, day: str) -> None:
        self._register.say("coral", {"coral": name(coral), "withdrawn_on": day, "why": "moved"})

    def adopt(self) -> None:
        """Say that the programme observes by the protocol."""
        said = {"name": self.protocol.name, "version": str(self.protocol.version), "digest": self.protocol.digest}
        self._register.say("protocol", {"protocol": name("protocol"), **said})

    def base(self, folder: Path) -> Base:
        books = [self._register, *self._plantings.values(), *self._dives]
        return base_of(folder / "base", [entry for book in books for entry in book.entries], [self.protocol])

    def _planting(self, plot: str, genotype: str, day: str) -> Book:
        site = plot[0]
        self._once(site, "site", {"site": name(site), "name": site})
        self._once(genotype, "genotype", {"genotype": name(genotype), "accession": genotype, "species": "Acropora sp."})
        self._once(plot, "plot", {"plot": name(plot), "site": name(site), "name": plot})
        if (site, day) not in self._plantings:
            self._plantings[site, day] = Book(f"planting {site} {day}", role="lead", device="base", site=name(site), day=day)
        return self._plantings[site, day]

    def _once(self, called: str, kind: str, values: Mapping[str, str]) -> None:
        if called not in self._known:
            self._known.add(called)
            self._register.say(kind, values)

    def _dive(self, site: str, day: str) -> Book:
        said = {"site": name(site), "day": day, "protocol": self.protocol.digest, "recorder": "AB"}
        self._dives.append(Book(f"{site} {day} {len(self._dives)}", **said))
        return self._dives[-1]
