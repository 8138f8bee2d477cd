"""A sheet typed in the test, the shipped monitoring protocol, and registers that know nothing, or what earlier entries say."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import date
from pathlib import Path

import pytest

from fieldkit.ledger import Entry
from fieldkit.protocol import Protocol, read_protocol
from fieldkit.register.names import folded
from fieldkit.register.sheets import Names, Taken, read_mapping, sheet_of, take

ROOT = Path(__file__).parents[3]
TODAY = date(2026, 1, 15)
TakeCsv = Callable[..., Taken]


class Remembered:
    """A register held in memory: what these entries say, by name."""

    def __init__(self, entries: Iterable[Entry] = ()) -> None:
        entries = list(entries)
        tags = {entry.values["coral"]: entry.values["tag"] for entry in entries if entry.kind == "tag"}
        self._ids: dict[tuple[str | None, ...], str] = {}
        self._tags: dict[str, list[str]] = {}
        for entry in entries:
            self._remember(entry, tags)

    def _remember(self, entry: Entry, tags: dict[str, str]) -> None:
        values = entry.values
        if entry.kind == "site":
            self._ids["site", folded(values["name"])] = values["site"]
        elif entry.kind == "plot":
            self._ids["plot", values["site"], folded(values["name"])] = values["plot"]
        elif entry.kind == "genotype":
            self._ids["genotype", folded(values["accession"])] = values["genotype"]
        elif entry.kind == "coral" and values["coral"] in tags:
            self._ids["tag", values["plot"], folded(tags[values["coral"]])] = values["coral"]
            self._tags.setdefault(values["plot"], []).append(tags[values["coral"]])
        elif entry.kind == "coral":
            self._ids["position", values["plot"], folded(values["position"])] = values["coral"]
        elif entry.kind == "planting":
            self._ids["planting", values["plot"], values["genotype"]] = values["row"]

    def site(self, name: str, /) -> str | None:
        return self._ids.get(("site", folded(name)))

    def plot(self, site: str, name: str, /) -> str | None:
        return self._ids.get(("plot", site, folded(name)))

    def genotype(self, accession: str, /) -> str | None:
        return self._ids.get(("genotype", folded(accession)))

    def coral(self, plot: str, /, *, tag: str | None, position: str | None) -> str | None:
        name = ("position", plot, folded(position or "")) if tag is None else ("tag", plot, folded(tag))
        return self._ids.get(name)

    def tags(self, plot: str, /) -> list[str]:
        return self._tags.get(plot, [])

    def planting(self, plot: str, genotype: str, day: str, /) -> str | None:
        return self._ids.get(("planting", plot, genotype))


@pytest.fixture(scope="session")
def monitoring() -> Protocol:
    return read_protocol((ROOT / "sample_surveys/protocols/post_outplant_monitoring.toml").read_bytes())


@pytest.fixture(scope="session")
def take_csv(monitoring: Protocol) -> TakeCsv:
    """Takes in a CSV text under a mapping text."""
    fields = [field.name for field in monitoring.fields]

    def taken(text: str, mapping: str = "", names: Names | None = None, today: date = TODAY) -> Taken:
        explained = read_mapping(mapping.encode(), name="mapping.toml", fields=fields)
        return take(sheet_of(text.encode(), file="sheet.csv"), explained, names or Remembered(), monitoring, today=today)

    return taken


@pytest.fixture(scope="session")
def remembered() -> type[Remembered]:
    return Remembered
