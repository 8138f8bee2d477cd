"""Killed at any moment: what was acknowledged is there, the batch in flight is there whole or not at all, the base is sound.

`FIELDKIT_KILLS=2000 pytest tests/base/test_killed.py` for a long run.
"""

from __future__ import annotations

import os
import time
from pathlib import Path
from random import Random
from typing import BinaryIO

import pytest

from fieldkit.base import Base
from fieldkit.ledger import Entry
from tests.base.process import Process
from tests.base.world import World
from tests.support.programme import monitoring

KILLS = int(os.environ.get("FIELDKIT_KILLS", "48"))
A_BASE = 8
"""How many kills one base goes through; then its check takes too long."""


def batches(world: World, n: int) -> list[list[Entry]]:
    """Sessions, one a batch, of which several observe the same corals."""
    found = [world.said]
    for i in range(n):
        book = world.dive(f"2024-06-{1 + i % 28:02}", world.reef.site)
        for tag in ("101", "102", "201", "202"):
            world.see(book, "A" if tag < "200" else "B", {"tag": tag}, ("alive", "dead")[i % 3 == 2], size_cm=f"1{i % 10}")
        found.append(book.entries)
    return found


def held(base: Base) -> set[str]:
    with base.view() as view:
        return {entry.digest for entry in view.ledger.all()}


def taken_in(base: Base, waiting: list[list[Entry]], pipe: BinaryIO) -> None:
    for i, batch in enumerate(waiting):
        base.receive(batch, source="a phone")
        pipe.write(b"%d\n" % i)


def killed(base: Base, waiting: list[list[Entry]], dice: Random) -> tuple[int, bool]:
    """Take batches in until killed. Returns how many were acknowledged, and whether one more is there."""
    process = Process(lambda pipe: taken_in(base, waiting, pipe))
    time.sleep(dice.uniform(0, 0.12))
    acknowledged = len(process.kill())
    there = held(Base(base.folder))
    for batch in waiting[:acknowledged]:
        assert {entry.digest for entry in batch} <= there
    in_flight = [entry.digest in there for batch in waiting[acknowledged : acknowledged + 1] for entry in batch]
    assert len(set(in_flight)) <= 1
    assert not any(entry.digest in there for batch in waiting[acknowledged + 1 :] for entry in batch)
    return acknowledged, any(in_flight)


@pytest.fixture(params=range(max(1, KILLS // A_BASE)))
def dice(request: pytest.FixtureRequest) -> Random:
    return Random(request.param)


def test_a_kill_loses_nothing_acknowledged_and_leaves_no_half_batch(tmp_path: Path, dice: Random) -> None:
    world = World(tmp_path)
    base = world.bases[0]
    base.keep_protocol(monitoring().body)
    waiting = batches(world, 60)
    for _ in range(A_BASE):
        acknowledged, one_more = killed(base, waiting, dice)
        waiting = waiting[acknowledged + one_more :]
        assert base.check() == []


def test_the_batch_in_flight_is_taken_in_when_it_is_sent_again(tmp_path: Path) -> None:
    world = World(tmp_path)
    base = world.bases[0]
    waiting = batches(world, 12)
    killed(base, waiting, Random(1))
    for batch in waiting:
        base.receive(batch, source="a phone")
    assert held(base) == {entry.digest for entry in world.said} and base.check() == []
