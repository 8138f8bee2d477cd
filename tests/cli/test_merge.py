"""`fieldkit merge`: what comes in by file, folder and base; and what of it cannot be taken."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from shutil import copytree
from typing import Any

import pytest
from PIL import Image

from fieldkit.base import Base
from fieldkit.ledger import sha256
from fieldkit.ledger.carry import About, write_carry
from tests.cli.terminal import state_of, typed
from tests.support.programme import Book, Reef, base_of, name

PROGRAMME = name("programme")


def carried(file: Path, *books: Book, photos: tuple[bytes, ...] = (), programme: str = PROGRAMME, named: str = "Amo") -> Path:
    """A carry file with these sessions, as a device writes it."""
    content = [("photos", sha256(photo), photo) for photo in photos]
    write_carry(file, About(programme, named, name("phone")), [entry for book in books for entry in book.entries], content)
    return file


def picture(shade: int = 80) -> bytes:
    file = io.BytesIO()
    Image.new("RGB", (8, 8), (0, shade, 120)).save(file, "JPEG")
    return file.getvalue()


@pytest.fixture
def dive() -> Book:
    """A dive of somebody else on the same reef, who saw corals 101 and 103."""
    reef = Reef()
    book = reef.dive("MO", "2024-09-01")
    reef.see(book, "101")
    reef.see(book, "103")
    return book


@pytest.fixture
def with_photo(dive: Book, tmp_path: Path) -> Callable[[bytes], Path]:
    """A carry file of that dive with one photo in it, whatever its bytes are."""

    def made(photo: bytes) -> Path:
        dive.say("photo", {"row": dive.entries[1].values["row"], "photo": sha256(photo)})
        return carried(tmp_path / "day.zip", dive, photos=(photo,))

    return made


def test_each_session_is_told_with_what_is_new_known_and_refused(reef: Path, dive: Book, tmp_path: Path) -> None:
    (told,) = typed(reef, "merge", "--json", carried(tmp_path / "day.zip", dive)).json
    assert told["sessions"] == {dive.session: {"new": 3, "known": 0, "refused": 0}}


def test_a_file_merged_twice_is_known_and_changes_nothing(reef: Path, dive: Book, tmp_path: Path) -> None:
    file = carried(tmp_path / "day.zip", dive)
    typed(reef, "merge", file)
    before = state_of(reef)
    (told,) = typed(reef, "merge", "--json", file).json
    assert (told["new"], told["known"], told["sessions"][dive.session]["known"]) == (0, 3, 3)
    assert state_of(reef) == before


def test_a_folder_stands_for_the_carry_files_in_it(reef: Path, dive: Book, tmp_path: Path) -> None:
    (tmp_path / "card").mkdir()
    carried(tmp_path / "card" / "DAY.ZIP", dive)
    (tmp_path / "card" / "._DAY.ZIP").write_bytes(b"what a Mac leaves beside it")
    told = typed(reef, "merge", "--json", tmp_path / "card")
    assert (told.code, [Path(one["file"]).name for one in told.json]) == (0, ["DAY.ZIP"])


def test_another_base_gives_its_entries_protocols_and_photos(reef: Path, dive: Book, tmp_path: Path) -> None:
    other = base_of(tmp_path / "other", dive.entries)
    other.adopt(Reef().protocol)
    other.photos.put(io.BytesIO(picture()), sha256(picture()))
    (told,) = typed(reef, "merge", "--json", other.folder).json
    assert told["sessions"][dive.session] == {"new": 3, "known": 0, "refused": 0}
    assert Base(reef).photos.has(sha256(picture()))


def test_two_bases_that_merge_each_other_agree(reef: Path, dive: Book, tmp_path: Path) -> None:
    other = base_of(tmp_path / "other", dive.entries)
    typed(reef, "merge", other.folder)
    typed(other.folder, "merge", reef)
    assert state_of(reef) == state_of(other.folder)


def test_the_other_base_is_only_read(reef: Path, dive: Book, tmp_path: Path) -> None:
    other = base_of(tmp_path / "other", dive.entries)
    before = (other.folder / "fieldkit.db").read_bytes(), state_of(other.folder)
    typed(reef, "merge", other.folder)
    assert ((other.folder / "fieldkit.db").read_bytes(), state_of(other.folder)) == before


def test_a_photo_damaged_on_the_other_base_is_named_and_left_there(reef: Path, dive: Book, tmp_path: Path) -> None:
    other = base_of(tmp_path / "other", dive.entries)
    other.photos.put(io.BytesIO(picture()), sha256(picture()))
    other.photos.path(sha256(picture())).write_bytes(b"rotten")
    told = typed(reef, "merge", other.folder)
    assert (told.code, f"photos/{sha256(picture())}" in told.out, Base(reef).photos.has(sha256(picture()))) == (1, True, False)


def test_a_base_of_another_programme_is_refused_with_both_names(reef: Path, tmp_path: Path) -> None:
    other = Base.create(tmp_path / "other", "Elsewhere")
    before = state_of(reef)
    told = typed(reef, "merge", other.folder)
    assert told.code == 1 and "“Elsewhere”" in told.out and "“Amo Reef Nursery”" in told.out
    assert state_of(reef) == before


def test_a_carry_file_of_another_programme_is_refused_with_both_names(reef: Path, dive: Book, tmp_path: Path) -> None:
    before = state_of(reef)
    told = typed(reef, "merge", carried(tmp_path / "day.zip", dive, programme=name("elsewhere"), named="Elsewhere"))
    assert told.code == 1 and "day.zip" in told.out and "“Elsewhere”" in told.out and "“Amo Reef Nursery”" in told.out
    assert state_of(reef) == before


@pytest.mark.parametrize("body", [b"", b"a letter", b"PK\x05\x06" + bytes(18)])
def test_a_file_that_is_no_carry_file_is_named_and_nothing_is_taken(reef: Path, tmp_path: Path, body: bytes) -> None:
    (tmp_path / "letter.zip").write_bytes(body)
    before = state_of(reef)
    told = typed(reef, "merge", tmp_path / "letter.zip")
    assert (told.code, "letter.zip is no carry file" in told.out, state_of(reef)) == (1, True, before)


def test_a_file_that_is_refused_holds_up_no_other(reef: Path, dive: Book, tmp_path: Path) -> None:
    (tmp_path / "a.zip").write_bytes(b"a letter")
    told = typed(reef, "merge", "--json", tmp_path / "a.zip", carried(tmp_path / "b.zip", dive))
    assert (told.code, [one["new"] for one in told.json]) == (1, [0, 3])


def test_of_a_file_that_breaks_off_each_session_says_what_is_missing(reef: Path, dive: Book, tmp_path: Path) -> None:
    dive.say("close", {"n": 3})
    file = carried(tmp_path / "day.zip", dive)
    body = file.read_bytes()
    file.write_bytes(body[: body.index(dive.entries[2].digest.encode())] + dive.entries[3].line)
    (told,) = typed(reef, "merge", "--json", file).json
    assert told["sessions"][dive.session] == {"new": 3, "known": 0, "refused": 1}


def test_a_file_that_breaks_off_gives_what_is_whole_and_says_so(reef: Path, with_photo: Any) -> None:
    file = with_photo(picture())
    cut = file.read_bytes().index(picture()) + 100
    file.write_bytes(file.read_bytes()[:cut])
    told = typed(reef, "merge", file)
    assert told.code == 1 and "day.zip: 4 new entries" in told.out and f"day.zip breaks off after {cut} bytes" in told.out


def test_a_photo_damaged_on_the_way_is_named_and_its_session_taken(reef: Path, with_photo: Any) -> None:
    file = with_photo(picture())
    file.write_bytes(file.read_bytes().replace(picture(), picture()[:-9] + b"damaged!!"))
    told = typed(reef, "merge", file)
    assert told.code == 1 and f"photos/{sha256(picture())}" in told.out and "4 new entries" in told.out
    assert not Base(reef).photos.has(sha256(picture()))


def test_what_came_as_a_photo_and_is_none_is_kept_and_named(reef: Path, dive: Book, with_photo: Any) -> None:
    told = typed(reef, "merge", with_photo(b"a letter"))
    assert told.code == 1 and f"day.zip, session {dive.session}" in told.out and "is not a photo" in told.out
    assert Base(reef).photos.has(sha256(b"a letter"))


def test_what_is_no_photo_is_named_again_when_it_is_merged_again(reef: Path, with_photo: Any) -> None:
    file = with_photo(b"a letter")
    typed(reef, "merge", file)
    assert typed(reef, "merge", file).code == 1


def test_a_photo_that_is_one_is_no_fault(reef: Path, with_photo: Any) -> None:
    assert typed(reef, "merge", with_photo(picture())).code == 0


def test_a_field_that_the_protocol_does_not_know_is_kept_and_asked_about(reef: Path, tmp_path: Path) -> None:
    made = Reef()
    book = made.dive("MO", "2024-09-01")
    seen = made.see(book, "103", colour="brown")
    assert typed(reef, "merge", carried(tmp_path / "day.zip", book)).code == 0
    (asked,) = [matter for matter in typed(reef, "matters", "--json").json if matter["of"] == [seen.digest]]
    assert (asked["kind"], "colour" in asked["why"]) == ("value", True)


def test_a_source_that_is_not_there_is_used_wrongly(reef: Path) -> None:
    told = typed(reef, "merge", "nowhere.zip")
    assert (told.code, "nowhere.zip" in told.err) == (2, True)


def test_a_base_that_cannot_be_reached_is_named_and_holds_up_no_other(reef: Path) -> None:
    told = typed(reef, "merge", "https://127.0.0.1:1", "--code", "7K3M-Q2XP")
    assert told.code == 1 and "https://127.0.0.1:1 cannot be reached" in told.out


def test_an_empty_folder_is_used_wrongly(reef: Path, tmp_path: Path) -> None:
    (tmp_path / "card").mkdir()
    told = typed(reef, "merge", tmp_path / "card")
    assert (told.code, f"{tmp_path / 'card'} holds neither" in told.err) == (2, True)


def test_a_missing_source_keeps_the_others_from_being_half_taken(reef: Path, dive: Book, tmp_path: Path) -> None:
    before = state_of(reef)
    typed(reef, "merge", carried(tmp_path / "day.zip", dive), tmp_path / "nowhere.zip")
    assert state_of(reef) == before


def test_carry_files_beside_a_base_in_one_folder_are_taken_too(reef: Path, dive: Book, tmp_path: Path) -> None:
    beside = Path(copytree(reef, tmp_path / "stick"))
    carried(beside / "day.zip", dive)
    told = typed(reef, "merge", "--json", beside)
    assert [Path(one["file"]).name for one in told.json] == ["stick", "day.zip"]
