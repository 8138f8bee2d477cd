"""A backup is a base: proved before it gets its name, whole whoever writes meanwhile, and put back by one command."""

from __future__ import annotations

import os
import sqlite3
import stat
import threading
from contextlib import closing
from io import BytesIO
from pathlib import Path

import pytest

import fieldkit.backup.backup
from fieldkit.access import Access
from fieldkit.backup import BackupError, Kept, back_up, is_due, kept, newest_days_old, remember, restore
from fieldkit.base import Base, merge_base, saved_mappings
from fieldkit.ledger import sha256
from fieldkit.server import create_app
from tests.base.world import digest
from tests.exchange.devices import Phone, Station, Way, held
from tests.support.programme import Book, Reef, base_of

PHOTO = b"\xff\xd8\xff" + os.urandom(300_000)
DAY_MS = 24 * 60 * 60 * 1000


@pytest.fixture
def reef() -> Reef:
    return Reef()


@pytest.fixture
def base(tmp_path: Path, reef: Reef) -> Base:
    dive = reef.dive("EA", "2024-06-01")
    reef.see(dive, "101")
    base = base_of(tmp_path / "base", reef.entries(), [reef.protocol])
    base.keep_photo(BytesIO(PHOTO), sha256(PHOTO))
    return base


@pytest.fixture
def place(tmp_path: Path) -> Path:
    place = tmp_path / "stick"
    place.mkdir()
    return place


def files(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def test_a_backup_is_a_base_of_the_same_state(base: Base, place: Path) -> None:
    copy = Base(back_up(base, place).folder)
    assert (copy.check(), digest(copy), list(copy.photos.digests())) == ([], digest(base), [sha256(PHOTO)])


def test_mappings_kept_by_name_are_in_it_and_come_back(base: Base, place: Path, tmp_path: Path) -> None:
    saved_mappings(base).save("outer reef", 'layout = "long"\n')
    again = restore(back_up(base, place).folder, tmp_path / "again")
    assert saved_mappings(again).read("outer reef") == b'layout = "long"\n'


def test_a_second_backup_copies_only_what_is_new(base: Base, place: Path, reef: Reef) -> None:
    first = back_up(base, place)
    reef.see(reef.books[-1], "102")
    base.receive(reef.entries(), source="test")
    again = back_up(base, place)
    assert (first.new_content, again.new_content, again.entries - first.entries) == (2, 0, 1)


def test_what_was_handed_in_and_not_reckoned_with_yet_is_in_it(base: Base, place: Path) -> None:
    base.keep(Book("late").entries, source="a phone")
    assert held(Base(back_up(base, place).folder)) == held(base)


def test_a_backup_made_while_phones_hand_in_holds_whole_batches(base: Base, place: Path, reef: Reef) -> None:
    ended = threading.Event()
    handed_in: list[list[str]] = []

    def hand_in() -> None:
        while not ended.is_set():
            book = Book(f"dive {len(handed_in)}", site=reef.site, day="2024-06-02")
            for _ in range(9):
                reef.see(book, "101")
            base.keep(book.entries, source="a phone")
            handed_in.append([entry.digest for entry in book.entries])

    thread = threading.Thread(target=hand_in)
    thread.start()
    try:
        found = [held(Base(back_up(base, place).folder)) for _ in range(3)]
    finally:
        ended.set()
        thread.join()
    shares = {len(there & set(batch)) for there in found for batch in handed_in}
    assert shares <= {0, 10} and found[0] <= found[1] <= found[2]


def test_the_keys_of_the_base_go_along_and_nobody_else_may_read_them(base: Base, place: Path) -> None:
    _, token = Access(base.folder).devices.pair(Access(base.folder).devices.invite("crew"), "a phone", "")
    (base.folder / "authority").mkdir()
    (base.folder / "authority" / "authority.key").write_bytes(b"secret")
    folder = back_up(base, place).folder
    assert Access(folder).device_of(token) is not None and (folder / "authority" / "authority.key").read_bytes() == b"secret"
    modes = {stat.S_IMODE((folder / path).stat().st_mode) for path in ("access.db", "authority/authority.key")}
    assert modes == {0o600}


def test_a_database_that_is_damaged_leaves_the_backup_before_it_in_place(base: Base, place: Path) -> None:
    folder = back_up(base, place).folder
    before = files(folder)
    with base._database.writing() as connection:
        connection.execute("DROP TRIGGER ledger_changes_nothing")
        connection.execute("UPDATE ledger SET body = X'00' WHERE place = 3")
    with pytest.raises(BackupError, match="did not prove itself"):
        back_up(base, place)
    assert files(folder) == before


def test_a_damaged_photo_is_named_and_does_not_hold_up_the_rest(base: Base, place: Path) -> None:
    base.photos.path(sha256(PHOTO)).write_bytes(b"rotten")
    made = back_up(base, place)
    assert [fault.key for fault in made.faults] == ["photos.wrong_digest"] and held(Base(made.folder)) == held(base)


def test_what_was_redacted_goes_from_the_backup_too(base: Base, place: Path, reef: Reef) -> None:
    folder = back_up(base, place).folder
    gone = reef.books[-1].entries[-1]
    lead = reef.lead("LK")
    lead.say("redact", {"of": sorted([gone.digest, sha256(PHOTO)])})
    base.receive(reef.entries(), source="test")
    back_up(base, place)
    assert not any(gone.body in body or body == PHOTO for body in files(folder).values())


def test_a_base_that_forgot_does_not_write_over_a_backup_that_remembers(base: Base, place: Path, tmp_path: Path) -> None:
    early = restore(back_up(base, place).folder, tmp_path / "early")
    base.receive(Book("later").entries, source="test")
    folder = back_up(base, place).folder
    with pytest.raises(BackupError, match="holds an entry that this base does not"):
        back_up(early, place)
    merge_base(early, folder)
    assert back_up(early, place).entries == len(held(base))


def test_a_disk_that_fills_up_leaves_the_backup_before_it_in_place(
    base: Base, place: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = back_up(base, place).folder
    before = files(folder)

    def full(_source: Path, target: Path) -> None:
        with closing(sqlite3.connect(target)) as connection:
            connection.execute("PRAGMA max_page_count = 1")
            connection.execute("CREATE TABLE a (b)")

    base.receive(Book("later").entries, source="test")
    monkeypatch.setattr(fieldkit.backup.backup, "_copy_sqlite", full)
    with pytest.raises(BackupError, match="are as they were"):
        back_up(base, place)
    assert files(folder) == before


@pytest.mark.parametrize("where", ["nowhere", "base", "base/photos"])
def test_a_place_that_is_none_is_refused(base: Base, tmp_path: Path, where: str) -> None:
    with pytest.raises(BackupError):
        back_up(base, tmp_path / where)


def test_the_place_is_remembered(base: Base, place: Path) -> None:
    back_up(base, place)
    chosen = kept(base.folder)
    assert chosen and chosen.place == str(place) and newest_days_old(base.folder) == 0


def test_a_restored_base_is_the_base_that_was_backed_up(base: Base, place: Path, tmp_path: Path) -> None:
    again = restore(back_up(base, place).folder, tmp_path / "again")
    assert (again.check(), digest(again), again.id, held(again)) == ([], digest(base), base.id, held(base))
    assert again.photos.has(sha256(PHOTO))


def test_a_damaged_backup_is_not_put_back(base: Base, place: Path, tmp_path: Path) -> None:
    folder = back_up(base, place).folder
    body = bytearray((folder / "fieldkit.db").read_bytes())
    body[len(body) // 2 : len(body) // 2 + 4096] = bytes(4096)
    (folder / "fieldkit.db").write_bytes(body)
    with pytest.raises(BackupError):
        restore(folder, tmp_path / "again")
    assert not (tmp_path / "again").exists()


def test_a_folder_that_is_taken_is_not_written_to(base: Base, place: Path) -> None:
    before = files(base.folder)
    with pytest.raises(BackupError, match="already and not empty"):
        restore(back_up(base, place).folder, base.folder)
    assert {name: files(base.folder)[name] for name in before} == before


def test_phones_give_a_restored_base_what_it_forgot(base: Base, place: Path, tmp_path: Path) -> None:
    station = Station(base)
    device, token = station.paired("crew")
    phone = Phone(device)
    phone.open_session(day="2024-06-01")
    folder = back_up(base, place).folder
    phone.say("observation", {"tag": "101"})
    phone.hand_in(Way(station, token))
    again = Station(restore(folder, tmp_path / "again"))
    assert phone.hand_in(Way(again, token)).entries == 2 and phone.entries.keys() <= held(again.base)


def test_a_restored_base_says_what_it_says_in_sessions_of_its_own(base: Base, place: Path, tmp_path: Path, reef: Reef) -> None:
    before = base.say([], recorder="LK")
    again = restore(back_up(base, place).folder, tmp_path / "again")
    base.say([])
    after = again.say([])
    base.receive(after, source="test")
    with base.view() as view:
        assert {entry.session for entry in before}.isdisjoint(entry.session for entry in after)
        assert not any(row.session.continued_twice for row in view.sessions().values())


def test_a_backup_is_due_once_the_day_is_in_and_it_is_quiet(base: Base, place: Path) -> None:
    back_up(base, place)
    made_at = kept(base.folder).made_at  # type: ignore[union-attr]
    assert made_at and not is_due(base, now=made_at + DAY_MS)
    book = Book("today")
    book.say("close", {"n": 2})
    base.keep(book.entries, source="a phone")
    with base.glance() as view:
        (came,) = view.rows("SELECT max(received_at) AS at FROM receipt")
    minutes = [m for m in (0, 14, 15) if is_due(base, now=came["at"] + m * 60_000)]
    assert minutes == [15]


def test_for_a_session_that_is_not_whole_it_waits_three_hours_and_no_longer(base: Base, place: Path) -> None:
    back_up(base, place)
    book = Book("today")
    book.say("close", {"n": 9})
    base.keep(book.entries, source="a phone")
    with base.glance() as view:
        (came,) = view.rows("SELECT max(received_at) AS at FROM receipt")
    assert [is_due(base, now=came["at"] + hours * 3_600_000) for hours in (1, 2, 3)] == [False, False, True]


def test_without_a_place_none_is_due(base: Base) -> None:
    assert not is_due(base, now=10**15)


@pytest.mark.parametrize(("days", "shown"), [(0, False), (7, False), (8, True), (None, True)])
def test_the_pages_say_when_the_newest_backup_is_over_seven_days_old(
    base: Base, place: Path, days: int | None, shown: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fieldkit.backup.place.time.time_ns", lambda: 100 * DAY_MS * 1_000_000)
    if days is not None:
        remember(base.folder, Kept(str(place), (100 - days) * DAY_MS))
    page = create_app(base).test_client().get("/matters", headers={"Host": "localhost"}).text
    assert ('class="banner"' in page) is shown


def test_a_database_in_an_older_form_is_kept_as_it_was_before_it_is_changed(base: Base, reef: Reef) -> None:
    with closing(sqlite3.connect(base.folder / "fieldkit.db")) as connection, connection:
        connection.executescript(
            """
            DROP TABLE summary; DROP TABLE receipt;
            CREATE TABLE receipt (place INTEGER PRIMARY KEY, received_at INTEGER NOT NULL, source TEXT NOT NULL) STRICT;
            INSERT INTO receipt SELECT place, 5 + place / 4, 'a phone' FROM ledger;
            DELETE FROM base WHERE name = 'folded';
            DELETE FROM _sqlite_migrations WHERE name = 'm002_summaries';
            """
        )
    again = Base(base.folder)
    (copy,) = base.folder.glob("fieldkit.db.before-*")
    with closing(sqlite3.connect(copy)) as connection:
        assert {row[0] for row in connection.execute("SELECT digest FROM ledger")} == held(again)
    with again.glance() as view:
        rows = view.rows("SELECT first, last, received_at FROM receipt ORDER BY first")
        n = view.ledger.newest_place
        assert [row["last"] - row["first"] + 1 for row in rows] == [
            3,
            *[4] * ((n - 3) // 4),
            *([(n - 3) % 4] * ((n - 3) % 4 > 0)),
        ]
        assert sum(one.n for one in view.ledger.summaries().values()) == len(held(again))
    assert again.check() == []
