"""Several processes on one base: one writes at a time, none is lost, and whoever reads sees one moment."""

from __future__ import annotations

from pathlib import Path
from typing import BinaryIO

import pytest
from filelock import FileLock

import fieldkit.base.base
from fieldkit.base import Base, Statement
from fieldkit.ledger import Entry, StoreError
from tests.base.process import Process
from tests.base.world import World, accounts, digest
from tests.support.programme import monitoring


@pytest.fixture
def world(tmp_path: Path) -> World:
    world = World(tmp_path)
    for base in world.bases:
        base.keep_protocol(monitoring().body)
    return world


def dives(world: World, n: int) -> list[list[Entry]]:
    for i in range(n):
        book = world.dive(f"2024-06-{1 + i:02}", world.reef.site)
        for tag in ("101", "102"):
            world.see(book, "A", {"tag": tag}, "alive")
    return [book.entries for book in world.books[-n:]]


def receive(base: Base, batches: list[list[Entry]], pipe: BinaryIO) -> None:
    for batch in batches:
        base.receive(batch, source="a phone")
        pipe.write(b"acknowledged\n")


def test_two_processes_that_write_at_once_lose_nothing(world: World) -> None:
    base = world.bases[0]
    base.receive(world.said, source="test")
    batches = dives(world, 16)
    writers = [Process(lambda pipe, some=batches[i::2]: receive(base, some, pipe)) for i in range(2)]
    assert [writer.ended() for writer in writers] == [(0, [b"acknowledged"] * 8)] * 2
    assert digest(base) == digest(world.fresh(world.said, protocols=[monitoring()]))


def test_a_reader_sees_whole_batches_while_another_process_writes(world: World) -> None:
    base = world.bases[0]
    base.receive(world.said, source="test")
    batches = dives(world, 16)
    writer = Process(lambda pipe: receive(base, batches, pipe))
    seen = []
    while not seen or seen[-1] < 32:
        with base.view() as view:
            fates, observations = accounts(view)
            again = accounts(view)
        assert again == (fates, observations) == (observations, observations)
        seen.append(observations)
    assert writer.ended()[0] == 0 and seen == sorted(seen) and not any(n % 2 for n in seen)


def test_what_two_leads_say_at_once_is_said_in_two_sessions(world: World) -> None:
    base = world.bases[0]
    statement = [Statement("site", {"site": world.reef.site, "name": "Amo"})]
    speakers = [Process(lambda pipe: base.say(statement, recorder="EA")) for _ in range(4)]
    assert [speaker.ended()[0] for speaker in speakers] == [0] * 4
    with base.view() as view:
        assert view.ledger.counts() == {"session": 4, "site": 4} and [m.kind for m in view.matters()] == []


def test_a_base_that_another_process_keeps_busy_says_so(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fieldkit.base.base, "BUSY_SECONDS", 0.05)
    base = Base(world.bases[0].folder)
    with FileLock(base.folder / "write.lock"), pytest.raises(StoreError, match="Another fieldkit") as refused:
        base.receive(world.said, source="test")
    with base.view() as view:
        assert (refused.value.faults[0].key, view.ledger.counts()) == ("base.busy", {})


def test_who_reads_need_not_wait_for_who_writes(world: World) -> None:
    base = world.bases[0]
    base.receive(world.said, source="test")
    before = digest(base)
    with base._database.writing() as connection:
        connection.execute("DELETE FROM coral")
        assert digest(base) == before
        connection.execute("ROLLBACK")
