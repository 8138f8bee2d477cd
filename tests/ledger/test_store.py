"""The ledger on disk: what it appends stays as it is, is found by what it speaks of, and proves itself when it is read."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, date, datetime
from typing import Any

import pytest
from sqlite_utils import Database

from fieldkit.ledger import Entry, StoreError, mint, read
from fieldkit.ledger.migrations import is_newer
from fieldkit.ledger.migrations import ledger as migrations
from fieldkit.ledger.store import Ledger
from tests.support.programme import Book, name

MORNING = int(datetime(2026, 11, 12, 6, tzinfo=UTC).timestamp()) * 1000


@pytest.fixture
def connection() -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
        migrations.apply(Database(connection))
        yield connection


@pytest.fixture
def ledger(connection: sqlite3.Connection) -> Ledger:
    return Ledger(connection)


@pytest.fixture
def book() -> Book:
    return Book("a dive")


def append(ledger: Ledger, *entries: Entry, at: int = MORNING) -> None:
    ledger.append(entries, source="test", received_at=at)


def rot(connection: sqlite3.Connection, entry: Entry, body: bytes) -> None:
    """As a failing disk would: past every trigger."""
    connection.execute("DROP TRIGGER ledger_changes_nothing")
    connection.execute("UPDATE ledger SET body = ? WHERE digest = ?", [body, entry.digest])


def seen(book: Book, **values: Any) -> Entry:
    return book.say("observation", {"plot": name("plot"), "tag": "101", **values})


def test_what_was_appended_is_read_back_byte_for_byte(ledger: Ledger, book: Book) -> None:
    entry = seen(book, note="añil 😀 ́")
    append(ledger, entry)
    (found,) = ledger.with_digests([entry.digest])
    assert (found.body, read(found.body)) == (entry.body, found)


def test_an_entry_is_new_once(ledger: Ledger, book: Book) -> None:
    entry = seen(book)
    first = ledger.append([entry, entry], source="test", received_at=0)
    second = ledger.append([entry], source="test", received_at=0)
    assert (first.new, first.known, second.new, second.known) == ((entry,), 0, (), 1)


@pytest.mark.parametrize(
    "statement",
    [
        "DELETE FROM ledger",
        "UPDATE ledger SET body = x'00'",
        "UPDATE ledger SET session = 'x'",
        "UPDATE ledger SET seq = 9, body = NULL",
        "UPDATE ledger SET place = place + 1",
    ],
)
def test_the_database_refuses_to_change_or_remove_an_entry(
    connection: sqlite3.Connection, ledger: Ledger, book: Book, statement: str
) -> None:
    append(ledger, *book.entries)
    with pytest.raises(sqlite3.IntegrityError, match="entry"):
        connection.execute(statement)


def test_an_emptied_entry_is_known_and_not_read(ledger: Ledger, book: Book) -> None:
    entry = seen(book)
    append(ledger, entry)
    ledger.empty([entry.digest])
    again = ledger.append([entry], source="test", received_at=0)
    assert (again.known, ledger.with_digests([entry.digest]), list(ledger.all())) == (1, [], [])


def test_an_emptied_entry_is_counted(ledger: Ledger, book: Book) -> None:
    entry = seen(book)
    append(ledger, entry)
    ledger.empty([entry.digest])
    assert ledger.counts() == {"observation": 1}


def test_bytes_that_rotted_are_told_when_they_are_read(connection: sqlite3.Connection, ledger: Ledger, book: Book) -> None:
    entry = seen(book)
    append(ledger, entry)
    rot(connection, entry, entry.body.replace(b"101", b"107"))
    with pytest.raises(StoreError, match=entry.digest):
        ledger.with_digests([entry.digest])
    assert (list(ledger.rotten()), list(ledger.sound())) == ([entry.digest], [])


def test_bytes_that_rotted_are_mended_by_whoever_brings_them(
    connection: sqlite3.Connection, ledger: Ledger, book: Book
) -> None:
    entry = seen(book)
    append(ledger, entry)
    rot(connection, entry, b"{}")
    connection.execute("CREATE TRIGGER ledger_changes_nothing BEFORE UPDATE ON ledger BEGIN SELECT RAISE(ABORT, 'no'); END")
    append(ledger, entry)
    assert (ledger.with_digests([entry.digest]), list(ledger.rotten())) == ([entry], [])


def test_after_mending_the_database_refuses_changes_as_before(
    connection: sqlite3.Connection, ledger: Ledger, book: Book
) -> None:
    entry = seen(book)
    append(ledger, entry)
    rot(connection, entry, b"{}")
    connection.execute("CREATE TRIGGER ledger_changes_nothing BEFORE UPDATE ON ledger BEGIN SELECT RAISE(ABORT, 'no'); END")
    append(ledger, entry)
    with pytest.raises(sqlite3.IntegrityError, match="an entry never changes"):
        connection.execute("UPDATE ledger SET kind = 'x'")


def test_an_entry_is_found_by_what_it_speaks_of(ledger: Ledger, book: Book) -> None:
    entries = [
        seen(book, coral=name("coral")),
        book.say("tag", {"coral": name("coral"), "tag": "7"}),
        seen(book, plot="by words"),
    ]
    append(ledger, *entries)
    ledger.index()
    assert set(ledger.about([name("coral")])) == {entries[0], entries[1]} and ledger.about(["by words"]) == [entries[2]]


def test_an_entry_is_found_by_what_it_replaces_rules_upon_and_takes_back(ledger: Ledger, book: Book) -> None:
    first = seen(book)
    naming = [
        book.say("observation", {"tag": "102"}, [first.digest]),
        book.say("ruling", {"matter": "tag", "of": [first.digest, book.session], "answer": "stands"}),
        book.say("redact", {"of": [first.digest]}),
    ]
    takes_back = book.say("retract", {"import": "e" * 64})
    append(ledger, first, *naming, takes_back)
    ledger.index()
    assert set(ledger.mentioning([first.digest])) == set(naming)
    assert ledger.mentioning(["e" * 64]) == [takes_back] and ledger.mentioning([book.session]) == [naming[1]]


def test_entries_are_indexed_once_however_often_and_in_whatever_portions(
    ledger: Ledger, book: Book, connection: sqlite3.Connection
) -> None:
    for _ in range(3):
        append(ledger, seen(book, plot="here"), seen(book, plot="here"))
        ledger.index()
        ledger.index()
    places = [place for (place,) in connection.execute("SELECT place FROM about WHERE subject = 'here' ORDER BY place")]
    assert places == [1, 2, 3, 4, 5, 6]


def test_a_set_of_names_may_be_larger_than_the_database_takes_parameters(ledger: Ledger, book: Book) -> None:
    append(ledger, *book.entries)
    names = [f"{n:064x}" for n in range(40_000)]
    assert ledger.with_digests([*names, book.entries[0].digest]) == book.entries


def test_sessions_of_which_something_came_in_that_day_are_found(ledger: Ledger) -> None:
    early, late = Book("early"), Book("late")
    append(ledger, *early.entries, at=MORNING - 1000 * 3600 * 24)
    append(ledger, *late.entries)
    assert ledger.sessions_received_since(date(2026, 11, 12)) == [late.session]


def test_only_the_first_entry_opens_a_session(ledger: Ledger, book: Book) -> None:
    later = book.say("session", {"role": "crew", "day": "2026-11-12"})
    append(ledger, *book.entries)
    assert ledger.openings([book.session]) == [book.entries[0]] and later.seq == 2


def test_steps_of_a_later_version_are_noticed(connection: sqlite3.Connection) -> None:
    before = is_newer(Database(connection))
    connection.execute("INSERT INTO _sqlite_migrations (migration_set, name, applied_at) VALUES ('ledger', 'm999', '2030')")
    assert (before, is_newer(Database(connection))) == (False, True)


def test_entries_come_in_order_of_arrival(ledger: Ledger) -> None:
    books = [Book(called) for called in "cab"]
    for book in books:
        append(ledger, *book.entries)
    assert list(ledger.all()) == [book.entries[0] for book in books] and ledger.newest_place == 3


def test_an_entry_that_is_larger_than_a_page_is_emptied_whole(connection: sqlite3.Connection, ledger: Ledger) -> None:
    long = mint("site", device=name("d"), session=name("s"), seq=1, at=0, values={"site": name("site"), "note": "x" * 16_000})
    append(ledger, long)
    ledger.empty([long.digest])
    assert b"xxxxxxxx" not in connection.serialize()
