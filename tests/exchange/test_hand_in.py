"""Handing in: whatever is cut, lost, repeated, copied or restored, the base ends up with all that any device sealed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from fieldkit.exchange import ExchangeError
from fieldkit.ledger import new_id, sha256
from tests.exchange.devices import Phone, Station, Way, held

PHOTO = b"\xff\xd8\xff" + bytes(range(256)) * 12_000  # three pieces


def observe(phone: Phone, n: int = 5) -> None:
    for i in range(n):
        phone.say("observation", {"row": new_id(0), "tag": str(100 + i), "status": "alive"})


def test_everything_that_is_handed_in_is_held(way: Way, phone: Phone, station: Station) -> None:
    observe(phone, 700)
    done = phone.hand_in(way)
    assert (done.entries, done.refused) == (701, []) and phone.entries.keys() <= held(station.base)


def test_a_second_hand_in_asks_once_and_sends_nothing(way: Way, phone: Phone) -> None:
    observe(phone)
    phone.hand_in(way)
    way.asked.clear()
    phone.hand_in(way)
    assert [path for _, path, _ in way.asked] == ["have"]


def test_only_what_is_new_is_sent(way: Way, phone: Phone) -> None:
    observe(phone)
    phone.hand_in(way)
    observe(phone, 2)
    assert phone.hand_in(way).entries == 2


@pytest.mark.parametrize("cut", [0, 1, 100, 300, 5_000, 40_000, 100_000, 1_100_000, 2_000_000])
def test_cut_after_any_byte_it_goes_on_where_it_was(way: Way, phone: Phone, station: Station, cut: int) -> None:
    observe(phone, 60)
    phone.photograph(PHOTO)
    way.bytes_left = cut
    with pytest.raises(ExchangeError):
        phone.hand_in(way)
    way.bytes_left = None
    phone.hand_in(way)
    assert phone.entries.keys() <= held(station.base) and station.base.photos.has(sha256(PHOTO))


def test_a_cut_request_of_entries_leaves_none_of_them(way: Way, phone: Phone, station: Station) -> None:
    observe(phone)
    body = b"".join(entry.line for entry in phone.entries.values())
    before = held(station.base)
    way.bytes_left = len(body) - 1
    with pytest.raises(ExchangeError):
        way.ask("POST", "entries", body=body)
    assert (way.asked[-1][2], held(station.base)) == (400, before)


@pytest.mark.parametrize("lost", range(1, 9))
def test_an_answer_lost_after_it_was_done_does_it_only_once(way: Way, phone: Phone, station: Station, lost: int) -> None:
    observe(phone)
    phone.photograph(PHOTO)
    way.lose_answer = lambda n: n == lost
    with pytest.raises(ExchangeError):
        phone.hand_in(way)
    phone.hand_in(way)
    assert phone.entries.keys() <= held(station.base) and station.base.photos.has(sha256(PHOTO))
    assert station.base.check() == []


def test_a_cloned_phone_is_noticed_and_both_its_lives_are_kept(way: Way, phone: Phone, station: Station) -> None:
    observe(phone, 1)
    clone = phone.cloned()
    observe(phone, 2)
    observe(clone, 3)
    phone.hand_in(way)
    session = clone.session
    forked = clone.hand_in(way).forked
    assert session in forked and clone.session != session
    clone.hand_in(way)
    assert phone.entries.keys() | clone.entries.keys() <= held(station.base)
    with station.base.view() as view:
        assert view.sessions()[session].session.continued_twice


def test_a_phone_restored_from_a_backup_is_noticed_before_it_goes_on(way: Way, phone: Phone) -> None:
    observe(phone, 1)
    backup = phone.cloned()
    observe(phone, 2)
    phone.hand_in(way)
    assert phone.session in backup.hand_in(way).forked


def test_a_phone_that_went_on_after_its_backup_loses_nothing(way: Way, phone: Phone, station: Station) -> None:
    backup = phone.cloned()
    observe(phone, 3)
    phone.hand_in(way)
    observe(backup, 5)  # numbers 2, 3, 4 were taken by what it forgot
    backup.hand_in(way)
    backup.hand_in(way)  # with the session that it opened when it was told
    assert phone.entries.keys() | backup.entries.keys() <= held(station.base)


def test_a_session_that_one_device_wrote_once_is_not_called_forked(way: Way, phone: Phone) -> None:
    observe(phone)
    forked = phone.hand_in(way).forked
    observe(phone)
    assert (forked | phone.hand_in(way).forked) == set()


def test_what_was_redacted_is_not_asked_for_again(way: Way, phone: Phone, station: Station) -> None:
    observe(phone)
    digest = phone.photograph(PHOTO)
    phone.hand_in(way)
    gone = phone.say("observation", {"note": "a face"})
    phone.hand_in(way)
    lead, token = station.paired("lead")
    judge = Phone(lead)
    judge.open_session(role="lead")
    judge.say("redact", {"of": [gone.digest, digest]})
    judge.hand_in(Way(station, token))
    way.asked.clear()
    phone.hand_in(way)
    assert ("POST", "entries", 200) not in way.asked and not station.base.photos.has(digest)
    assert gone.digest not in held(station.base)


def test_a_viewer_hands_nothing_in(station: Station, phone: Phone) -> None:
    _, token = station.paired("viewer")
    answer = Way(station, token).ask("POST", "entries", body=b"".join(e.line for e in phone.entries.values()))
    assert answer.status == 403


def test_only_a_base_fetches_what_others_said(way: Way) -> None:
    answers = [
        way.ask("GET", "entries?after=0"),
        way.ask("POST", "compare", body=b"{}"),
        way.ask("POST", "sessions", body=b"{}"),
    ]
    assert [answer.status for answer in answers] == [403] * 3


@pytest.mark.parametrize(
    "said",
    [
        b"",
        b"[]",
        b"{",
        b'{"at":1,"sessions":{"x":[1,"0"]},"unsent":{"entries":0,"photos":0}}',
        b'{"at":1,"sessions":[],"unsent":{"entries":0,"photos":0}}',
        b'{"at":1e400,"sessions":{},"unsent":{"entries":0,"photos":0}}',
        b'{"at":1,"sessions":{},"unsent":{"entries":-1,"photos":0}}',
        b"[" * 100_000,
    ],
)
def test_what_does_not_fit_is_refused_with_problem_details(way: Way, said: bytes) -> None:
    answer = way.ask("POST", "have", body=said, headers={"Content-Type": "application/json"})
    assert answer.status in (400, 422) and "title" in json.loads(answer.body)


def test_the_folder_of_a_base_holds_no_partial_after_all_came(way: Way, phone: Phone, station: Station) -> None:
    phone.photograph(PHOTO)
    phone.hand_in(way)
    assert list((station.base.folder / "incoming").iterdir()) == []


def test_a_restored_base_is_given_again_what_it_forgot(way: Way, phone: Phone, station: Station, tmp_path: Path) -> None:
    observe(phone)
    backup = {path.name: path.read_bytes() for path in station.base.folder.glob("fieldkit.db*")}
    phone.hand_in(way)
    for path in station.base.folder.glob("fieldkit.db*"):
        path.unlink()
    for name, body in backup.items():
        (station.base.folder / name).write_bytes(body)
    assert phone.hand_in(way).entries == 6 and phone.entries.keys() <= held(station.base)
