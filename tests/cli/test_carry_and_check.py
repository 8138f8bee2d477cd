"""`fieldkit carry` and `fieldkit check`: what cannot be carried or proved is named, and the rest is done."""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from fieldkit.base import Base
from fieldkit.ledger import sha256
from fieldkit.ledger.carry import read_carry
from tests.cli.terminal import state_of, typed

PHOTO = sha256(b"a photo")


@pytest.fixture
def rotten(reef: Path) -> Path:
    """A base whose disk has changed a photo."""
    photos = Base(reef).photos
    photos.put(io.BytesIO(b"a photo"), PHOTO)
    photos.path(PHOTO).write_bytes(b"rotten")
    return reef


def test_a_carry_file_holds_every_entry(reef: Path, tmp_path: Path) -> None:
    told = typed(reef, "carry", tmp_path / "all.zip")
    with Base(reef).view() as view, read_carry(tmp_path / "all.zip") as carry:
        assert {entry.digest for entry in carry.entries()} == {entry.digest for entry in view.ledger.all()}
    assert (told.code, "1 photos and protocols" in told.out) == (0, True)


def test_a_photo_that_cannot_be_carried_is_named_and_the_rest_is_written(rotten: Path, tmp_path: Path) -> None:
    told = typed(rotten, "carry", tmp_path / "all.zip")
    assert told.code == 1 and f"photos/{PHOTO} was left out" in told.out
    with read_carry(tmp_path / "all.zip") as carry:
        carry.prove()
        assert carry.is_whole


def test_since_a_day_that_has_not_come_nothing_is_carried(reef: Path, tmp_path: Path) -> None:
    told = typed(reef, "carry", tmp_path / "none.zip", "--since", "2999-01-01")
    assert (told.code, told.out.startswith("Wrote 0 entries")) == (0, True)


def test_since_today_everything_that_came_in_today_is_carried(reef: Path, tmp_path: Path) -> None:
    told = typed(reef, "carry", tmp_path / "all.zip", "--since", "2020-01-01")
    assert (told.code, told.out.startswith("Wrote 0 entries")) == (0, False)


def test_a_folder_that_is_not_there_cannot_take_a_carry_file(reef: Path, tmp_path: Path) -> None:
    told = typed(reef, "carry", tmp_path / "nowhere" / "out.zip")
    assert (told.code, "out.zip could not be written" in told.err) == (1, True)


def test_check_names_a_damaged_photo(rotten: Path) -> None:
    told = typed(rotten, "check", "--json")
    assert told.code == 1 and any(PHOTO in fault for fault in told.json["faults"])


def test_check_counts_entries_by_kind_and_observations_by_fate(reef: Path) -> None:
    told = typed(reef, "check", "--json").json
    assert told["entries"]["planting"] == 5
    assert told["observations"] == {"counted": 2}


def test_check_adds_the_digests_of_all_entries_up(reef: Path) -> None:
    with Base(reef).view() as view:
        total = sum(int(entry.digest, 16) for entry in view.ledger.all())
    assert int(typed(reef, "check", "--json").json["sum"], 16) == total % 2**256


def test_check_tells_the_state_and_changes_nothing(reef: Path) -> None:
    before = state_of(reef)
    assert typed(reef, "check", "--json").json["state"] == before == state_of(reef)


def test_check_says_to_people_that_nothing_is_wrong(reef: Path) -> None:
    assert typed(reef, "check").lines[-1] == "Nothing wrong was found."
