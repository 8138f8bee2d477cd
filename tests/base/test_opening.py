"""What a folder may be when it is opened as a base: older, newer, another's, damaged, forbidden; each is told in words."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import BinaryIO

import pytest

from fieldkit import messages
from fieldkit.base import Base, BaseError
from fieldkit.base.database import _MEANINGS
from fieldkit.errors import FieldkitError
from fieldkit.ledger import StoreError
from tests.base.process import Process
from tests.base.world import World, digest
from tests.support.programme import base_of, monitoring

NOBODY = 65534


@pytest.fixture
def base(tmp_path: Path) -> Base:
    return base_of(tmp_path / "base", World(tmp_path).said, [monitoring()])


def change(base: Base, *statements: str) -> None:
    """As another version, or an accident, would have left it."""
    with closing(sqlite3.connect(base.folder / "fieldkit.db")) as connection, connection:
        for statement in statements:
            connection.execute(statement)


def refusal(folder: Path) -> FieldkitError:
    with pytest.raises(FieldkitError) as refused:
        Base(folder)
    return refused.value


def test_a_folder_without_a_base_is_none(tmp_path: Path) -> None:
    assert refusal(tmp_path).faults[0].key == "base.no_base"


def test_a_file_that_is_no_database_is_refused(base: Base) -> None:
    (base.folder / "fieldkit.db").write_bytes(b"something else" * 400)
    error = refusal(base.folder)
    assert isinstance(error, StoreError) and error.faults[0].key == "base.no_database"


def test_a_database_of_something_else_is_refused(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / "fieldkit.db")) as connection:
        connection.execute("CREATE TABLE recipes (name TEXT)")
    error = refusal(tmp_path)
    assert isinstance(error, BaseError) and error.faults[0].key == "base.not_ours"


def test_a_base_of_a_later_version_is_refused_untouched(base: Base) -> None:
    change(base, "INSERT INTO _sqlite_migrations (migration_set, name, applied_at) VALUES ('ledger', 'm999_tides', '2030')")
    before = (base.folder / "fieldkit.db").read_bytes()
    assert refusal(base.folder).faults[0].key == "base.newer"
    assert (base.folder / "fieldkit.db").read_bytes() == before


def test_a_damaged_page_is_told_and_not_passed_over(base: Base) -> None:
    path = base.folder / "fieldkit.db"
    body = bytearray(path.read_bytes())
    body[4096 : len(body)] = os.urandom(len(body) - 4096)
    path.write_bytes(body)
    assert refusal(base.folder).faults[0].key == "base.damaged"


@pytest.mark.parametrize("fold", ["UPDATE base SET value = '0' WHERE name = 'fold'", "DELETE FROM base WHERE name = 'fold'"])
def test_the_state_of_another_version_is_computed_anew_when_opened(base: Base, fold: str) -> None:
    before = digest(base)
    change(base, fold, "DROP TABLE coral", "CREATE TABLE coral (name TEXT)", "DROP TABLE redacted")
    assert (digest(Base(base.folder)), base.check()) == (before, [])


def test_opening_a_base_writes_nothing_where_nothing_is_to_be_done(base: Base) -> None:
    before = (base.folder / "fieldkit.db").stat().st_mtime_ns
    Base(base.folder)
    assert (base.folder / "fieldkit.db").stat().st_mtime_ns == before


def test_a_protocol_whose_arrival_was_cut_short_is_heard_of_when_the_base_is_opened(tmp_path: Path) -> None:
    base = base_of(tmp_path / "base", _noted(tmp_path).said)
    with (tmp_path / "protocol").open("w+b") as file:
        file.write(monitoring().body)
        file.seek(0)
        base.protocols.put(file, monitoring().digest)  # and there the process died
    with Base(base.folder).view() as view:
        assert view.fates() == {"counted": 1} and base.check() == []


def _noted(folder: Path) -> World:
    world = World(folder)
    world.see(world.dive("2024-06-01", world.reef.site), "A", {"tag": "101"}, "alive")
    return world


@pytest.fixture
def reached(base: Base) -> Iterator[Base]:
    """The base, in folders through which anybody may go."""
    modes = {folder: folder.stat().st_mode for folder in (base.folder, *base.folder.parents[:-1])}
    for folder, mode in modes.items():
        folder.chmod(mode | 0o555)
    yield base
    for folder, mode in modes.items():
        folder.chmod(mode)


def told_to_nobody(work: Callable[[], object]) -> list[bytes]:
    """The key of the error that this raises for somebody who is no administrator and not the owner."""

    def tried(pipe: BinaryIO) -> None:
        if os.geteuid() == 0:
            os.seteuid(NOBODY)
        with pytest.raises(FieldkitError) as refused:
            work()
        pipe.write(refused.value.faults[0].key.encode())

    return Process(tried).ended()[1]


def test_a_folder_that_may_not_be_written_to_is_told(reached: Base) -> None:
    reached.folder.chmod(0o555)
    assert told_to_nobody(lambda: Base(reached.folder).receive((), source="test")) == [b"base.may_not"]


def test_a_folder_that_may_not_be_looked_into_is_told(reached: Base) -> None:
    reached.folder.chmod(0o000)
    assert told_to_nobody(lambda: Base(reached.folder)) == [b"base.may_not"]


@pytest.mark.parametrize("language", messages.LANGUAGES)
def test_every_error_of_the_database_has_a_sentence(base: Base, language: str) -> None:
    data = {"folder": "here", "file": "there", "why": "because"}
    keys = {key for _, key in _MEANINGS.values()} | {"base.database_failed"}
    assert all("here" in text or "there" in text for text in (messages.text(key, language, **data) for key in keys))


def test_an_error_of_the_database_that_nobody_thought_of_is_told_too(base: Base) -> None:
    with pytest.raises(StoreError, match="no such table: tides") as told, base.view() as view:
        view.rows("SELECT * FROM tides")
    assert told.value.faults[0].key == "base.database_failed" and isinstance(told.value.__cause__, sqlite3.Error)
