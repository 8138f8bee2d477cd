"""The sample as it lies in the repository, read once, and the folder of the script that makes it."""

from __future__ import annotations

import json
import sys
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from fieldkit.ledger import Entry
from fieldkit.ledger.carry import read_carry
from fieldkit.protocol import Protocol, read_protocol

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_surveys"
CARRY_FILES = ("programme.zip", "boat_day/device_a.zip", "boat_day/device_b.zip", "boat_day/device_c.zip")

sys.path.append(str(ROOT / "scripts"))  # the script's own folder, as when it runs


@dataclass(frozen=True)
class Sample:
    """The carry files' entries by file, the digests of their photos, and the truth; and a base that holds all of it."""

    files: Mapping[str, tuple[Entry, ...]]
    photos: frozenset[str]
    truth: Mapping[str, Any]
    protocols: Mapping[str, Protocol]
    folder: Path

    @property
    def entries(self) -> dict[str, Entry]:
        return {entry.digest: entry for entries in self.files.values() for entry in entries}

    @property
    def day(self) -> list[Entry]:
        """What came in from the last boat day."""
        return [entry for name in CARRY_FILES[1:] for entry in self.files[name]]

    def of(self, kind: str, entries: Iterable[Entry]) -> list[Entry]:
        return [entry for entry in entries if entry.kind == kind]

    def session(self, id_: str) -> list[Entry]:
        return [entry for entry in self.entries.values() if entry.session == id_]

    def planted(self, kind: str) -> list[dict[str, Any]]:
        """The flaws of a kind, their observations as entries."""
        entries = self.entries
        found = [flaw for flaw in self.truth["flaws"] if flaw["kind"] == kind]
        assert found, f"no {kind} was planted"
        return [
            flaw | {"of": [entries[digest] for digest in flaw["of"]], "past": [entries[d] for d in flaw["past"]]}
            for flaw in found
        ]

    def coral(self, id_: str) -> dict[str, Any]:
        return next(coral for coral in self.truth["corals"] if coral["coral"] == id_)

    def true_coral(self, entry: Entry) -> dict[str, Any]:
        return self.coral(self.truth["observations"][entry.digest]["coral"])

    def tags(self, plot: str) -> dict[str, str]:
        """The tags that hang in a plot on the last day, and whose they are."""
        there = [coral for coral in self.truth["corals"] if coral["plot"] == plot]
        return {coral["new_tag"] or coral["tag"]: coral["coral"] for coral in there}

    def photos_of(self, row: str) -> list[str]:
        return [entry.values["photo"] for entry in self.of("photo", self.day) if entry.values.get("row") == row]

    def seen_before(self, coral: str) -> list[Entry]:
        """Past observations of a coral, oldest first; a session's day tells when."""
        past = self.files[CARRY_FILES[0]]
        days = {entry.session: entry.values["day"] for entry in self.of("session", past)}
        superseded = {digest for entry in past for digest in entry.replaces}
        found = [e for e in self.of("observation", past) if e.values.get("coral") == coral and e.digest not in superseded]
        return sorted(found, key=lambda entry: days[entry.session])


@pytest.fixture(scope="session")
def sample(sample: Path) -> Sample:
    files, photos = {}, set()
    for name in CARRY_FILES:
        with read_carry(SAMPLE / name) as carry:
            files[name] = tuple(carry.entries())
            photos |= {digest for folder, digest, _ in carry.content() if folder == "photos"}
            carry.prove()
            assert carry.is_whole
            assert not carry.faults
    protocols = (read_protocol(path.read_bytes()) for path in sorted((SAMPLE / "protocols").glob("*.toml")))
    truth = json.loads((SAMPLE / "truth.json").read_text("utf-8"))
    return Sample(files, frozenset(photos), truth, {protocol.digest: protocol for protocol in protocols}, sample)


@pytest.fixture(scope="session")
def by_plot(sample: Sample) -> dict[str, list[dict[str, Any]]]:
    """The true corals of each plot."""
    plots: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for coral in sample.truth["corals"]:
        plots[coral["plot"]].append(coral)
    return plots
