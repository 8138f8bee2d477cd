"""One connection writes or checkpoints at a time, whatever runs beside a server: SQLite's WAL-reset race needs two.

Two writers or checkpointers at once are what https://sqlite.org/wal.html#walresetbug asks for. So it is proved that a reader
does neither, that a write waits for the lock of another process, and that a server and commands beside it leave a sound base.
"""

from __future__ import annotations

import time
from pathlib import Path
from typing import BinaryIO

import pytest

from fieldkit.base import Base, BaseError, Statement, has_wal_reset_race
from tests.base.process import Process
from tests.base.world import World
from tests.support.programme import monitoring


@pytest.fixture
def world(tmp_path: Path) -> World:
    world = World(tmp_path)
    world.bases[0].keep_protocol(monitoring().body)
    world.bases[0].receive(world.said, source="test")
    return world


def serving(base: Base, pipe: BinaryIO) -> None:
    with Base(base.folder).held_open():
        pipe.write(b"serving\n")
        time.sleep(60)


def test_a_reader_never_checkpoints_not_even_as_the_last_to_close(world: World) -> None:
    base = world.bases[0]
    writer = Process(lambda pipe: _left_a_log(base, pipe))
    assert writer.first_line() == b"written\n"
    writer.kill()
    file, log = base.folder / "fieldkit.db", base.folder / "fieldkit.db-wal"
    before = file.read_bytes(), log.read_bytes()
    assert before[1]
    for _ in range(3):
        with base.glance() as view:
            view.ledger.counts()
    assert (file.read_bytes(), log.read_bytes()) == before


def _left_a_log(base: Base, pipe: BinaryIO) -> None:
    held = Base(base.folder)
    with held.held_open():
        held.say([Statement("site", {"site": base.id, "name": "Amo"})])
        pipe.write(b"written\n")
        time.sleep(60)


def test_what_is_tidied_in_quiet_stands_in_its_place_and_no_hand_in_need_put_it_there(world: World) -> None:
    base = world.bases[0]
    with base.held_open():
        base.say([Statement("site", {"site": base.id, "name": "Quiet bay"})])
        before = (base.folder / "fieldkit.db").read_bytes()
        base.tidy()
        after = (base.folder / "fieldkit.db").read_bytes()
    assert b"Quiet bay" not in before and b"Quiet bay" in after


def test_a_command_waits_while_a_server_writes(world: World) -> None:
    base = world.bases[0]

    def writing(pipe: BinaryIO) -> None:
        with base._database.writing():
            pipe.write(b"writing\n")
            time.sleep(0.5)
            pipe.write(b"done\n")

    server = Process(writing)
    server.first_line()
    base.say([])  # would raise “database is locked”, or write beside it, without the lock
    assert server.ended() == (0, [b"done"])


def test_commands_beside_a_server_and_the_server_lose_nothing_and_leave_a_sound_base(world: World) -> None:
    base = world.bases[0]

    def serves(pipe: BinaryIO) -> None:
        own = Base(base.folder)
        with own.held_open():
            for _ in range(20):
                pipe.write(own.say([Statement("site", {"site": base.id, "name": "Amo"})])[-1].digest.encode() + b"\n")

    def commands(pipe: BinaryIO) -> None:
        for _ in range(10):  # each opens, writes, checkpoints upon closing
            pipe.write(
                Base(base.folder).say([Statement("site", {"site": base.id, "name": "Bako"})])[-1].digest.encode() + b"\n"
            )

    ended = [process.ended() for process in (Process(serves), Process(commands), Process(commands))]
    told = [line.decode() for _, lines in ended for line in lines]
    with base.view() as view:
        assert len(view.ledger.with_digests(told)) == len(told) == 40
    assert base.check() == []


def test_a_base_is_served_by_one_process_at_a_time(world: World) -> None:
    base = world.bases[0]
    server = Process(lambda pipe: serving(base, pipe))
    server.first_line()
    with pytest.raises(BaseError, match="being served already"), base.held_open():
        pass
    server.kill()
    with base.held_open():
        pass


@pytest.mark.parametrize(
    ("version", "has"),
    [((3, 40, 1), True), ((3, 44, 6), False), ((3, 50, 6), True), ((3, 50, 7), False), ((3, 51, 2), True), ((3, 51, 3), False)],
)
def test_versions_of_sqlite_with_the_race_are_known(version: tuple[int, int, int], has: bool) -> None:
    """Source: https://sqlite.org/wal.html, the WAL-reset bug."""
    assert has_wal_reset_race(version) is has
