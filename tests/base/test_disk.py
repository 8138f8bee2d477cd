"""A disk that is full or fails: the whole batch is refused in words, what was there stays, and with room it goes on."""

from __future__ import annotations

import resource
import sqlite3
from pathlib import Path
from typing import BinaryIO

import pytest

from fieldkit.base import Base
from fieldkit.base.database import BaseDatabase
from fieldkit.ledger import Entry, StoreError
from tests.base.process import Process
from tests.base.world import World, digest
from tests.support.programme import monitoring


@pytest.fixture
def base(tmp_path: Path) -> Base:
    world = World(tmp_path)
    base = world.bases[0]
    base.keep_protocol(monitoring().body)
    base.receive(world.said, source="test")
    return base


@pytest.fixture
def more(tmp_path: Path) -> list[Entry]:
    """Enough to need several pages in every table."""
    world = World(tmp_path / "more")
    for i in range(20):
        book = world.dive(f"2024-06-{1 + i:02}", world.reef.site)
        for tag in ("101", "102", "999"):
            world.see(book, "A", {"tag": tag}, "alive", note="x" * 300)
    return world.said


def with_room_for(pages: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the database grow by so many pages and no more. SQLite calls that a full disk."""
    whole = BaseDatabase._open

    def limited(database: BaseDatabase) -> sqlite3.Connection:
        connection = whole(database)
        (there,) = connection.execute("PRAGMA page_count").fetchone()
        connection.execute(f"PRAGMA max_page_count = {there + pages}")
        return connection

    monkeypatch.setattr(BaseDatabase, "_open", limited)


def entries(base: Base) -> set[str]:
    with base.view() as view:
        return {entry.digest for entry in view.ledger.all()}


@pytest.mark.parametrize("pages", [0, 1, 3, 9, 20, 30])
def test_a_full_disk_refuses_the_whole_batch_wherever_it_strikes(
    base: Base, more: list[Entry], monkeypatch: pytest.MonkeyPatch, pages: int
) -> None:
    before = entries(base), digest(base)
    with monkeypatch.context() as patch:
        with_room_for(pages, patch)
        with pytest.raises(StoreError) as refused:
            base.receive(more, source="a phone")
    assert ([fault.key for fault in refused.value.faults], entries(base), digest(base)) == (["base.disk_full"], *before)


def test_with_room_made_the_same_batch_goes_in(base: Base, more: list[Entry], monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as patch:
        with_room_for(3, patch)
        with pytest.raises(StoreError, match="Make room"):
            base.receive(more, source="a phone")
    base.receive(more, source="a phone")
    assert {entry.digest for entry in more} <= entries(base) and base.check() == []


def test_a_file_that_may_not_grow_refuses_the_whole_batch(base: Base, more: list[Entry]) -> None:
    def received_within(pipe: BinaryIO) -> None:
        size = sum(path.stat().st_size for path in base.folder.glob("fieldkit.db*"))
        resource.setrlimit(resource.RLIMIT_FSIZE, (size // 2, resource.RLIM_INFINITY))
        try:
            base.receive(more, source="a phone")
        except StoreError as error:
            pipe.write(error.faults[0].key.encode())

    before = entries(base), digest(base)
    code, told = Process(received_within).ended()
    assert (code, told, entries(base), digest(base)) == (0, [b"base.disk_failed"], *before)
    assert base.check() == []


def test_checking_a_base_changes_nothing_in_it(base: Base) -> None:
    before = (base.folder / "fieldkit.db").read_bytes()
    assert (base.check(), (base.folder / "fieldkit.db").read_bytes()) == ([], before)
