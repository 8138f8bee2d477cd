"""Two bases meet: one round, and each holds what either held; a second round changes nothing."""

from __future__ import annotations

import os
from io import BytesIO
from pathlib import Path

import pytest

from fieldkit.base import Base, BaseError
from fieldkit.exchange import ExchangeError, Met, meet
from fieldkit.exchange.known_bases import KnownBase, fingerprint, keep_known, known_bases
from fieldkit.ledger import sha256
from tests.base.world import digest
from tests.exchange.devices import Station, Way, held
from tests.support.programme import Book, Reef, base_of

PHOTO = b"\xff\xd8\xff" + os.urandom(1_500_000)


@pytest.fixture
def reef() -> Reef:
    return Reef()


@pytest.fixture
def here(tmp_path: Path, reef: Reef) -> Base:
    return base_of(tmp_path / "here", reef.entries(), [reef.protocol])


@pytest.fixture
def there(tmp_path: Path) -> Base:
    return base_of(tmp_path / "there")


@pytest.fixture
def way(there: Base) -> Way:
    station = Station(there)
    return Way(station, station.paired("base")[1])


def met(here: Base, way: Way, **how: bool) -> Met:
    return meet(here, way, address="there", **how)  # type: ignore[arg-type]


def test_after_one_round_both_hold_what_either_held(here: Base, there: Base, way: Way) -> None:
    there.receive(Book("there", day="2024-06-01").entries, source="test")
    both = held(here) | held(there)
    met(here, way)
    assert held(here) == held(there) == both and digest(here) == digest(there)


def test_what_a_round_brought_and_gave_is_told(here: Base, there: Base, way: Way) -> None:
    book = Book("there", day="2024-06-01")
    there.receive(book.entries, source="test")
    n = len(held(here))
    found = met(here, way)
    assert (found.took.new, dict(found.took.sessions), found.gave.entries, found.took.faults) == (1, {book.session: 1}, n, ())


def test_a_second_round_sends_no_entry(here: Base, way: Way) -> None:
    met(here, way)
    way.asked.clear()
    met(here, way)
    assert not any(path == "entries" or path.startswith("entries?") for _, path, _ in way.asked)


def test_photos_and_protocols_go_both_ways(here: Base, there: Base, way: Way, reef: Reef) -> None:
    other = PHOTO + b"other"
    here.keep_photo(BytesIO(PHOTO), sha256(PHOTO))
    there.keep_photo(BytesIO(other), sha256(other))
    dive = reef.dive("EA", "2024-06-01")
    dive.say("photo", {"photo": sha256(other), "bytes": len(other), "type": "image/jpeg", "row": dive.session})
    there.receive(reef.entries(), source="test")
    met(here, way)
    assert set(here.photos.digests()) == set(there.photos.digests()) == {sha256(PHOTO), sha256(other)}
    assert there.protocols.has(reef.protocol.digest)


def test_more_than_one_request_holds_goes_over(here: Base, there: Base, way: Way, reef: Reef) -> None:
    for base in (here, there):
        book = Book(f"long {base.folder.name}", day="2024-06-01", site=reef.site)
        for i in range(1_200):
            book.say("observation", {"tag": str(i)})
        base.receive(book.entries, source="test")
    met(here, way)
    assert held(here) == held(there)


@pytest.mark.parametrize("cut", [0, 500, 3_000, 10_000, 1_200_000])
def test_where_it_broke_off_it_goes_on(here: Base, there: Base, way: Way, cut: int) -> None:
    there.receive(Book("there", day="2024-06-01").entries, source="test")
    here.keep_photo(BytesIO(PHOTO), sha256(PHOTO))
    way.bytes_left = cut
    with pytest.raises(ExchangeError):
        met(here, way)
    way.bytes_left = None
    met(here, way)
    assert held(here) == held(there) and there.photos.has(sha256(PHOTO))


def test_a_hint_that_is_wrong_loses_nothing(here: Base, there: Base, way: Way) -> None:
    there.receive(Book("there", day="2024-06-01").entries, source="test")
    meet(here, way, address="there", after=10_000)
    assert held(here) == held(there)


def test_compared_in_full_the_same_comes_of_it(here: Base, there: Base, way: Way) -> None:
    there.receive(Book("there", day="2024-06-01").entries, source="test")
    met(here, way, full=True)
    assert held(here) == held(there)


def test_what_one_redacted_goes_from_the_other_and_does_not_come_back(here: Base, there: Base, way: Way, reef: Reef) -> None:
    met(here, way)
    gone = reef.books[0].entries[-1]
    lead = reef.lead("LK")
    lead.say("redact", {"of": [gone.digest]})
    there.receive(lead.entries, source="test")
    met(here, way)
    met(here, way)
    assert gone.digest not in held(here) | held(there) and digest(here) == digest(there)


def test_a_base_of_another_programme_is_refused_before_anything_is_sent(here: Base, tmp_path: Path) -> None:
    station = Station(Base.create(tmp_path / "other", "Bako Reef Nursery"))
    way = Way(station, station.paired("base")[1])
    with pytest.raises(BaseError, match="Bako Reef Nursery"):
        met(here, way)
    assert held(station.base) == set() and [path for _, path, _ in way.asked] == ["hello"]


def test_a_token_that_is_no_bases_fetches_nothing(here: Base, there: Base) -> None:
    station = Station(there)
    with pytest.raises(ExchangeError, match="403"):
        met(here, Way(station, station.paired("crew")[1]))


def test_a_known_base_is_kept_where_only_this_account_reads_it(here: Base) -> None:
    one = KnownBase("a", "-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n", "token", 3)
    keep_known(here.folder, one)
    keep_known(here.folder, KnownBase("a", one.authority, "newer"))
    (kept,) = known_bases(here.folder)
    assert kept.token == "newer" and (here.folder / "known_bases.json").stat().st_mode & 0o777 == 0o600


def test_a_fingerprint_is_the_sha256_of_the_certificate_itself() -> None:
    assert fingerprint("-----BEGIN CERTIFICATE-----\nYWJj\n-----END CERTIFICATE-----\n").startswith("BA:78:16:BF")  # of "abc"
