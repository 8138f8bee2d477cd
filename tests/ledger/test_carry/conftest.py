"""A small boat day to carry: two sessions, a protocol, three photos."""

from __future__ import annotations

import hashlib
import random
from dataclasses import dataclass
from pathlib import Path

import pytest

from fieldkit.ledger import Entry, mint, new_id
from fieldkit.ledger.carry import About, write_carry

DEVICE = new_id(1764052800000, bytes(10))


@dataclass(frozen=True)
class Day:
    about: About
    entries: list[Entry]
    content: list[tuple[str, str, bytes]]
    file: Path

    @property
    def raw(self) -> bytes:
        return self.file.read_bytes()

    @property
    def digests(self) -> list[str]:
        return [digest for _, digest, _ in self.content]


def session(name: str, rows: int) -> list[Entry]:
    def entry(kind: str, seq: int, values: dict[str, object]) -> Entry:
        return mint(kind, device=DEVICE, session=name, seq=seq, at=1764052800000 + seq, values=values)

    rows_of_slate = [
        entry("observation", n, {"tag": f"A{n:02}", "status": "alive", "note": "ñ" * (n % 7)}) for n in range(1, rows)
    ]
    return [*rows_of_slate, entry("close", rows, {"n": rows - 1})]


@pytest.fixture
def day(tmp_path: Path) -> Day:
    return written(tmp_path)


@pytest.fixture(scope="session")
def whole(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The bytes of such a file, for tests that try many changes of them."""
    return written(tmp_path_factory.mktemp("whole")).raw


def written(folder: Path) -> Day:
    dice = random.Random(11)
    entries = [entry for n in (1, 2) for entry in session(new_id(n, bytes(10)), 12)]
    blobs = [("protocols", b"[protocol]\n" * 20), *(("photos", dice.randbytes(size)) for size in (3000, 0, 1500))]
    content = [(folder, hashlib.sha256(blob).hexdigest(), blob) for folder, blob in blobs]
    about = About(new_id(3, bytes(10)), "Arrecife de prueba «Ñ»", DEVICE)
    file = folder / "day.zip"
    write_carry(file, about, entries, content)
    return Day(about, entries, content, file)
