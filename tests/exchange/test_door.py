"""The door judges lines by themselves and the token: one bad line never holds up the rest, and known ones are just counted."""

from __future__ import annotations

import json
from typing import Any

import pytest

from fieldkit.exchange import Peer
from fieldkit.exchange.door import Refused, judged
from fieldkit.ledger import Entry, canonical, mint, new_id, sha256
from fieldkit.ledger.migrations import CHANGES_NOTHING, written_sum
from tests.exchange.devices import Phone, Station, Way, held

DEVICE, OTHER = new_id(0), new_id(1)
CREW = Peer(DEVICE, "crew")


def entry(kind: str = "observation", *, device: str = DEVICE, seq: int = 2, **values: Any) -> Entry:
    return mint(kind, device=device, session=new_id(5), seq=seq, at=0, values=values)


def line(body: bytes) -> bytes:
    return sha256(body).encode() + b" " + body


def envelope(**changed: Any) -> bytes:
    said = {"v": 1, "kind": "observation", "device": DEVICE, "session": OTHER, "seq": 1, "at": 0, "replaces": [], "values": {}}
    return canonical({**said, **changed})


def why(refused: Entry | Refused) -> str:
    assert isinstance(refused, Refused)
    return refused.why.key


def test_a_device_hands_in_what_it_said_itself() -> None:
    said = entry()
    assert judged(said.line.removesuffix(b"\n"), CREW) == said


@pytest.mark.parametrize(
    ("given", "key"),
    [
        (b"", "exchange.no_line"),
        (b"hello", "exchange.no_line"),
        (b"A" * 64 + b" {}", "exchange.no_line"),
        (line(b"{}"), "ledger.envelope"),
        (line(b"not json"), "ledger.not_json"),
        (line(b'{"b":1,"a":2}'), "ledger.not_canonical"),
        (line(b'{"a":NaN}'), "ledger.number_with_fraction"),
        (line(b"\xff"), "ledger.not_utf8"),
        (line(envelope(seq=0)), "ledger.envelope_field"),
        (line(envelope(values={"note": "x" * 17_000})), "ledger.entry_too_large"),
        (line(b"[" * 5000), "ledger.not_json"),
        (sha256(b"other").encode() + b" " + envelope(), "ledger.wrong_digest"),
    ],
)
def test_a_line_that_is_none_is_refused_in_words(given: bytes, key: str) -> None:
    assert why(judged(given, CREW)) in (key, "ledger.too_deep")


def test_what_another_device_said_does_not_come_in_under_ones_own_token() -> None:
    assert why(judged(entry(device=OTHER).line[:-1], CREW)) == "exchange.other_device"


def test_another_base_hands_in_what_its_devices_said() -> None:
    said = entry(device=OTHER)
    assert judged(said.line[:-1], Peer(DEVICE, "base")) == said


@pytest.mark.parametrize("kind", ["site", "plot", "person", "tag", "ruling", "redact", "protocol"])
def test_what_is_a_leads_to_say_comes_in_from_a_leads_device_only(kind: str) -> None:
    said = entry(kind)
    assert (why(judged(said.line[:-1], CREW)), judged(said.line[:-1], Peer(DEVICE, "lead"))) == ("exchange.for_leads", said)


def test_a_crew_device_cannot_open_a_leads_session() -> None:
    assert why(judged(entry("session", seq=1, role="lead").line[:-1], CREW)) == "exchange.for_leads"


def test_a_crew_device_cannot_take_an_import_back() -> None:
    assert why(judged(entry("retract", **{"import": "e" * 64}).line[:-1], CREW)) == "exchange.for_leads"


def test_an_entry_of_a_later_version_comes_in_as_it_is() -> None:
    said = judged(line(envelope(v=2, kind="forecast")), CREW)
    assert isinstance(said, Entry) and not said.is_understood


@pytest.mark.parametrize("place", [0, 1, 4])
def test_a_refused_line_leaves_the_others_held_wherever_it_stands(way: Way, phone: Phone, station: Station, place: int) -> None:
    for i in range(3):
        phone.say("observation", {"tag": str(i)})
    lines = [said.line for said in phone.entries.values()]
    lines.insert(place, line(b"{}") + b"\n")
    answer = json.loads(way.ask("POST", "entries", body=b"".join(lines)).body)
    total = written_sum(sum(int(digest, 16) for digest in phone.entries))
    assert (answer["held"], answer["sum"], [one["digest"] for one in answer["refused"]]) == (4, total, [sha256(b"{}")])
    assert phone.entries.keys() <= held(station.base)


def test_lines_that_are_known_are_held_and_change_nothing(way: Way, phone: Phone, station: Station) -> None:
    body = b"".join(said.line for said in phone.entries.values())
    first, before = way.ask("POST", "entries", body=body), held(station.base)
    assert (way.ask("POST", "entries", body=body).body, held(station.base)) == (first.body, before)


@pytest.mark.parametrize("place", [0, 1])
def test_a_line_that_is_known_is_held_whoever_says_it_and_wherever_it_stands(
    way: Way, phone: Phone, station: Station, place: int
) -> None:
    with station.base.view() as view:
        lines = [next(iter(view.ledger.all())).line]  # what this phone could not say as its own
    lines.insert(place, next(iter(phone.entries.values())).line)
    answer = json.loads(way.ask("POST", "entries", body=b"".join(lines)).body)
    assert (answer["held"], answer["refused"]) == (2, [])


def test_a_line_twice_in_one_request_counts_once(way: Way, phone: Phone) -> None:
    body = 2 * b"".join(said.line for said in phone.entries.values())
    assert json.loads(way.ask("POST", "entries", body=body).body)["held"] == 1


def test_more_lines_than_one_request_takes_are_refused_and_none_is_held(way: Way, phone: Phone, station: Station) -> None:
    for i in range(501):
        phone.say("observation", {"tag": str(i)})
    before = held(station.base)
    answer = way.ask("POST", "entries", body=b"".join(said.line for said in phone.entries.values()))
    assert (answer.status, held(station.base)) == (413, before)


def test_bytes_that_rotted_here_are_replaced_when_they_are_handed_in_again(way: Way, phone: Phone, station: Station) -> None:
    phone.hand_in(way)
    (said,) = phone.entries.values()
    with station.base._database.writing() as connection:
        connection.execute("DROP TRIGGER ledger_changes_nothing")
        connection.execute("UPDATE ledger SET body = X'00' WHERE digest = ?", [said.digest])
        connection.execute(CHANGES_NOTHING)
    way.ask("POST", "entries", body=said.line)
    assert station.base.check() == []


def test_a_fault_in_what_follows_does_not_keep_a_day_from_being_handed_in(
    way: Way, phone: Phone, station: Station, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object) -> None:
        raise ZeroDivisionError

    with monkeypatch.context() as patch:
        patch.setattr("fieldkit.base.keeping.Keeper.take_in", fails)
        assert json.loads(way.ask("POST", "entries", body=b"".join(e.line for e in phone.entries.values())).body)["held"] == 1
    with station.base.view() as view:
        assert phone.session in view.sessions()


def test_the_clock_of_a_device_is_told_back_and_kept_with_what_it_handed_in(way: Way, phone: Phone, station: Station) -> None:
    phone.clock = 10**9  # January 1970
    done = phone.hand_in(way)
    with station.base.glance() as view:
        (kept,) = view.rows("SELECT clock_off_ms FROM receipt WHERE source = ?", phone.device)
    assert done.clock_off_ms is not None and done.clock_off_ms < -1.7e12 and kept["clock_off_ms"] == done.clock_off_ms
