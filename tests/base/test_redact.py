"""What a lead redacts counts as absent on every base that hears of it; its bytes are off the disk and stay off."""

from __future__ import annotations

from hashlib import sha256
from io import BytesIO
from pathlib import Path

import pytest

from fieldkit.base import Base
from fieldkit.ledger import Entry
from tests.base.world import World, accounts, digest, settled
from tests.support.programme import Book, monitoring

SECRET = "Ana Kalo was in the water"
FACE = b"a face that should not be seen"
FACES = sha256(FACE).hexdigest()


@pytest.fixture
def world(tmp_path: Path) -> World:
    world = World(tmp_path)
    for base in world.bases:
        base.keep_protocol(monitoring().body)
    return world


@pytest.fixture
def book(world: World) -> Book:
    return world.dive("2024-06-01", world.reef.site)


@pytest.fixture
def secret(world: World, book: Book) -> Entry:
    return world.see(book, "A", {"tag": "101"}, "dead", note=SECRET)


def redact(world: World, *digests: str, role: str = "lead") -> Entry:
    return world.open_book(role=role).say("redact", {"of": sorted(digests), "why": "asked for"})


def is_on_disk(base: Base, text: bytes) -> bool:
    return any(text in path.read_bytes() for path in base.folder.rglob("*") if path.is_file())


def without(world: World, *digests: str) -> Base:
    """A base that never heard of these."""
    return world.fresh([e for e in world.said if e.digest not in digests], protocols=[monitoring()])


def test_a_redacted_entry_counts_as_absent(world: World, secret: Entry) -> None:
    base = world.bases[0]
    base.receive(world.said, source="test")
    redact(world, secret.digest)
    base.receive(world.said, source="test")
    assert (base.check(), settled(base)) == ([], settled(without(world, secret.digest)))


def test_its_bytes_are_nowhere_in_the_folder(world: World, secret: Entry) -> None:
    base = world.bases[0]
    base.receive(world.said, source="test")
    before = is_on_disk(base, SECRET.encode())
    redact(world, secret.digest)
    base.receive(world.said, source="test")
    assert (before, is_on_disk(base, SECRET.encode())) == (True, False)


def test_a_long_entry_leaves_no_bytes_behind_either(world: World, book: Book) -> None:
    long = book.say("observation", {"note": SECRET * 400})
    base = world.bases[0]
    base.receive(world.said, source="test")
    redact(world, long.digest)
    base.receive(world.said, source="test")
    assert not is_on_disk(base, SECRET.encode())


def test_its_fate_is_redacted_and_the_counts_add_up(world: World, secret: Entry) -> None:
    redact(world, secret.digest)
    base = world.bases[0]
    base.receive(world.said, source="test")
    with base.view() as view:
        assert view.fates() == {"redacted": 1} and accounts(view) == (1, 1)
        assert [(row.fate, row.values) for row in view.observations()] == [("redacted", {})]


def test_a_phone_that_offers_it_again_brings_nothing_back(world: World, secret: Entry) -> None:
    redact(world, secret.digest)
    base = world.bases[0]
    for _ in range(2):
        base.receive(world.said, source="test")
        assert base.receive([secret], source="an old phone").known == 1
    assert not is_on_disk(base, SECRET.encode())


def test_a_redaction_may_be_heard_of_before_what_it_redacts(world: World, secret: Entry) -> None:
    redaction = redact(world, secret.digest)
    early, late = world.bases
    early.receive([e for e in world.said if e.session == redaction.session], source="test")
    early.receive(world.said, source="test")
    late.receive([e for e in world.said if e.session != redaction.session], source="test")
    late.receive(world.said, source="test")
    assert digest(early) == digest(late) and not is_on_disk(early, SECRET.encode())


def test_a_base_that_never_saw_it_agrees_with_one_that_emptied_it(world: World, secret: Entry) -> None:
    emptied, other = world.bases
    emptied.receive(world.said, source="test")
    redact(world, secret.digest)
    emptied.receive(world.said, source="test")
    world.carry(emptied, other)
    with other.view() as view:
        held = view.ledger.counts().get("observation", 0)
    assert (digest(emptied), held) == (digest(other), 0)


def test_two_bases_agree_once_they_merged_each_other(world: World, secret: Entry) -> None:
    one, other = world.bases
    for base in world.bases:
        base.receive(world.said, source="test")
    redact(world, secret.digest)
    one.receive(world.said, source="test")
    world.carry(one, other)
    world.carry(other, one)
    assert digest(one) == digest(other) and not is_on_disk(other, SECRET.encode())


def test_what_a_redacted_correction_had_replaced_stands_again(world: World, book: Book) -> None:
    first = world.see(book, "A", {"tag": "101"}, "alive")
    second = book.say("observation", {**first.values, "status": "dead"}, [first.digest])
    base = world.bases[0]
    base.receive(world.said, source="test")
    redact(world, second.digest)
    base.receive(world.said, source="test")
    with base.view() as view:
        assert view.fates() == {"counted": 1, "redacted": 1}


def test_a_crew_cannot_redact(world: World, secret: Entry) -> None:
    redact(world, secret.digest, role="crew")
    base = world.bases[0]
    base.receive(world.said, source="test")
    with base.view() as view:
        assert view.fates() == {"counted": 1} and [m.kind for m in view.matters()] == ["not_entitled"]


def test_a_redaction_takes_effect_when_its_session_opens(world: World, secret: Entry) -> None:
    redaction = redact(world, secret.digest)
    base = world.bases[0]
    opening = world.books[-1].entries[0]
    base.receive([entry for entry in world.said if entry is not opening], source="test")
    with base.view() as view:
        before = view.fates()
    base.receive([opening], source="test")
    with base.view() as view:
        assert (before, view.fates(), redaction.seq) == ({"counted": 1}, {"redacted": 1}, 2)


def test_nobody_takes_a_redaction_back(world: World, secret: Entry) -> None:
    redaction = redact(world, secret.digest)
    world.open_book(role="lead").say("retract", {}, [redaction.digest])
    redact(world, redaction.digest, world.books[-2].entries[0].digest)
    base = world.bases[0]
    base.receive(world.said, source="test")
    with base.view() as view:
        assert view.fates() == {"redacted": 1} and len(view.ledger.with_digests([redaction.digest])) == 1
        assert [matter.kind for matter in view.matters()] == ["not_entitled"]


def test_redacting_what_opens_a_crews_session_silences_the_session(world: World, book: Book, secret: Entry) -> None:
    redact(world, book.entries[0].digest)
    base = world.bases[0]
    base.receive(world.said, source="test")
    assert base.check() == []
    with base.view() as view:
        assert view.fates() == {"not understood": 1} and secret.session in view.sessions()


def test_a_redacted_planting_leaves_no_coral_behind(world: World) -> None:
    base = world.bases[0]
    base.receive(world.said, source="test")
    planting = next(entry for entry in world.of_kinds("planting") if entry.values.get("tag") == "101")
    redact(world, planting.digest)
    base.receive(world.said, source="test")
    with base.view() as view:
        assert view.corals([planting.values["row"]]) == [] and base.check() == []


def test_who_named_a_coral_of_another_plot_is_asked_again_when_its_planting_is_redacted(world: World, book: Book) -> None:
    planting = next(entry for entry in world.of_kinds("planting") if entry.values.get("tag") == "101")
    world.see(book, "B", {"coral": planting.values["row"]}, "alive")
    base = world.bases[0]
    base.receive(world.said, source="test")
    redact(world, planting.digest)
    base.receive(world.said, source="test")
    with base.view() as view:
        assert [matter.why.key for matter in view.matters()] == ["settle.coral_unknown"] and base.check() == []


def promised(book: Book) -> Entry:
    return book.say("photo", {"photo": FACES, "bytes": len(FACE), "type": "image/jpeg"})


def test_a_redacted_photo_is_removed_and_no_longer_waited_for(world: World, book: Book) -> None:
    promised(book)
    base = world.bases[0]
    base.receive(world.said, source="test")
    base.keep_photo(BytesIO(FACE), FACES)
    redact(world, FACES)
    base.receive(world.said, source="test")
    with base.view() as view:
        assert (list(base.photos.digests()), view.photos_of_session(book.session)) == ([], [])


def test_a_redacted_photo_that_comes_again_is_not_kept(world: World, book: Book) -> None:
    redact(world, FACES)
    promised(book)
    base = world.bases[0]
    base.receive(world.said, source="test")
    assert (base.keep_photo(BytesIO(FACE), FACES), list(base.photos.digests())) == (False, [])


def test_a_redacted_photo_in_a_carry_file_is_left_there(world: World, book: Book) -> None:
    promised(book)
    one, other = world.bases
    one.receive(world.said, source="test")
    one.keep_photo(BytesIO(FACE), FACES)
    redact(world, FACES)
    other.receive(world.books[-1].entries, source="test")
    world.carry(one, other)
    assert list(other.photos.digests()) == [] and other.check() == []


def test_a_photo_is_removed_though_the_process_died_before_it_could(world: World, book: Book) -> None:
    redact(world, FACES)
    base = world.bases[0]
    base.receive(world.said, source="test")
    base.photos.put(BytesIO(FACE), FACES)  # as if it had not been removed yet
    assert list(Base(base.folder).photos.digests()) == []
